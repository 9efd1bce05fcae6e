//! Calculators.

use calc::calculators::{Calculator, METHOD, all, find};
use exchange::json::to_json;

use super::call::Call;
use super::operation::Answer;
use super::refusal::Refusal;
use super::shapes::{CalculatorInList, CalculatorShape, Calculators, Outcome, WarningShape};

type Answered = Result<Answer, Refusal>;

pub(super) fn list(_: &Call<'_>) -> Answered {
    let one =
        |one: &'static Calculator| CalculatorInList { name: one.name, title: one.title, text: one.text };
    Answer::shape(&Calculators { calculators: all().into_iter().map(one).collect() })
}

fn known(call: &Call<'_>) -> Result<&'static Calculator, Refusal> {
    let name = call.name("calculator");
    find(name).ok_or_else(|| Refusal::unknown(format!("No calculator is named {name}.")))
}

pub(super) fn one(call: &Call<'_>) -> Answered {
    let one = known(call)?;
    Answer::shape(&CalculatorShape {
        name: one.name,
        title: one.title,
        text: one.text,
        inputs: exchange::schema::schema(one),
        outputs: one.outputs.iter().map(|output| (output.name, output.text)).collect(),
        sources: one.sources.to_vec(),
    })
}

pub(super) fn work_out(call: &Call<'_>) -> Answered {
    let one = known(call)?;
    let answer = one.answer(&call.body).map_err(Refusal::faults)?;
    let warning =
        |warning: calc::calculators::Warning| WarningShape { code: warning.code, text: warning.text };
    Answer::shape(&Outcome {
        calculator: one.name,
        method: METHOD,
        outputs: answer.outputs.iter().map(|(name, value)| (*name, to_json(value))).collect(),
        warnings: answer.warnings.into_iter().map(warning).collect(),
        sources: one.sources.to_vec(),
    })
}
