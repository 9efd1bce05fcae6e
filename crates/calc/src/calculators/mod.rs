//! Every calculator, defined once: its name, inputs, outputs, sources and function.
//!
//! The command line, pages, docs and outside checks all read this one definition.

mod air_passage;
mod air_tightness;
mod bore_history;
mod bore_state;
mod cross_leak;
mod decay_input;
mod flow_factor;
mod hook_up;
mod hydraulics;
mod network;
mod readings;
mod rig;
mod samples;
mod state_update;
mod statistics;
mod water;
mod weighing;

use crate::form::{self, Fault, Field, Input, Value};

/// Version of the methods behind all calculators; it changes when a number may change.
pub const METHOD: &str = "borewise-calc/1";

/// What a calculator puts out under one name.
#[derive(Debug)]
pub struct Output {
    /// Name, ending in the unit where it has one.
    pub name: &'static str,
    /// What it means.
    pub text: &'static str,
}

/// Something the reader of a result should know.
#[derive(Clone, Debug, PartialEq)]
pub struct Warning {
    /// Short fixed word for programs.
    pub code: &'static str,
    /// One sentence for people.
    pub text: String,
}

/// What a calculator answers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Answer {
    /// Outputs in the order of the definition.
    pub outputs: Vec<(&'static str, Value)>,
    /// What the reader should know.
    pub warnings: Vec<Warning>,
}

impl Answer {
    /// An empty answer.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The same answer with one more output.
    #[must_use]
    pub fn with(mut self, name: &'static str, value: impl Into<Value>) -> Self {
        self.outputs.push((name, value.into()));
        self
    }

    /// The same answer with one more warning.
    #[must_use]
    pub fn warn(mut self, code: &'static str, text: impl Into<String>) -> Self {
        self.warnings.push(Warning { code, text: text.into() });
        self
    }

    /// The value of an output.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&Value> {
        self.outputs.iter().find(|(key, _)| *key == name).map(|(_, value)| value)
    }
}

/// A calculator's definition.
#[derive(Debug)]
pub struct Calculator {
    /// Name on the command line and in addresses.
    pub name: &'static str,
    /// Title on a page.
    pub title: &'static str,
    /// What it gives, in one or two sentences, with its assumptions.
    pub text: &'static str,
    /// Inputs.
    pub inputs: &'static [Field],
    /// Outputs.
    pub outputs: &'static [Output],
    /// Keys of `data/sources.bib`.
    pub sources: &'static [&'static str],
    /// The function; its input has been checked against `inputs`.
    pub run: fn(Input<'_>) -> Result<Answer, Vec<Fault>>,
}

impl Calculator {
    /// Checks the input and computes.
    ///
    /// # Errors
    /// Every fault of the input at once.
    pub fn answer(&self, input: &Value) -> Result<Answer, Vec<Fault>> {
        let checked = form::check(self.inputs, input)?;
        (self.run)(Input::checked(&checked))
    }
}

/// All calculators, in the order in which they are listed.
#[must_use]
pub fn all() -> Vec<&'static Calculator> {
    let groups = [
        water::ALL,
        hydraulics::ALL,
        network::ALL,
        flow_factor::ALL,
        readings::ALL,
        samples::ALL,
        rig::ALL,
        air_tightness::ALL,
        cross_leak::ALL,
        air_passage::ALL,
        bore_state::ALL,
        bore_history::ALL,
        hook_up::ALL,
        statistics::ALL,
        weighing::ALL,
        state_update::ALL,
    ];
    groups.iter().flat_map(|group| group.iter().copied()).collect()
}

/// The calculator of this name.
#[must_use]
pub fn find(name: &str) -> Option<&'static Calculator> {
    all().into_iter().find(|calculator| calculator.name == name)
}
