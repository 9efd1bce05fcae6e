//! Remarks on the evaluation of a falling pressure.

/// What the reader should know of a discharge's evaluation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Note {
    /// The critical ratio could not be found from this fall; a usual value was taken.
    CriticalRatioAssumed,
    /// The trace begins when the pressure already fell.
    NoSampleBeforeOpening,
    /// Fewer than ten samples per time constant.
    FewSamples,
    /// The fitted curve does not follow the samples: the interval was widened.
    PoorFit,
    /// The volume of the circuit is not small against the reservoir, or not known.
    CircuitVolume,
    /// A circuit that empties itself: where a narrow place lies is not known, so the interval is wide.
    OwnVolume,
    /// Two readings only.
    TwoReadings,
}

impl Note {
    /// One sentence for people.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::CriticalRatioAssumed => {
                "The critical ratio could not be found from this fall; the usual value of circuits was taken, with its spread."
            }
            Self::NoSampleBeforeOpening => {
                "The trace begins when the valve was already open; begin to log a moment before."
            }
            Self::FewSamples => "Fewer than ten samples in the time constant of the fall; log faster.",
            Self::PoorFit => {
                "The pressure did not fall as the model says; the interval was widened. Water in the circuit or a slow valve \
                 does this."
            }
            Self::CircuitVolume => {
                "The volume of circuit and hoses is not known or not small against the vessel; it empties along with it."
            }
            Self::OwnVolume => {
                "A circuit that empties itself does not show where it is narrow; the interval holds every place. A vessel \
                 that empties through it tells more."
            }
            Self::TwoReadings => {
                "Two readings leave heat and critical ratio open; the interval holds all of them."
            }
        }
    }
}
