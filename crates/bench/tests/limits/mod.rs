//! Limits that the tests of the judgement hold readings against; no material is known.

use std::collections::BTreeMap;

use bench::limits::{Limit, Limits, Materials, Tables};

pub fn tables() -> Tables {
    let limit = |value| Limit {
        title: "limit".into(),
        value,
        source: "test".into(),
        owner: "test".into(),
        others: vec![(2.0 * value, "another source".into())],
    };
    let limits = Limits {
        leak_rate: limit(0.1),
        leak_rate_die_casting: limit(0.05),
        flow_low: limit(90.0),
        flow_high: limit(115.0),
        reynolds: limit(4000.0),
        narrow_conductance: limit(1.0),
    };
    Tables { limits, materials: Materials { metals: BTreeMap::new(), seals: BTreeMap::new() } }
}
