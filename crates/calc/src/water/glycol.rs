//! Water-glycol mixtures.
