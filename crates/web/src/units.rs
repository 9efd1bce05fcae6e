//! Units as they stand at the end of a field's name, and as people read them.

/// Endings of names, the longer before the shorter, and what they stand for.
const UNITS: &[(&str, &str)] = &[
    ("_dm3_s_bar", "dm³/(s·bar)"),
    ("_j_kg_k", "J/(kg·K)"),
    ("_mbar_l_s", "mbar·l/s"),
    ("_mm_per_day", "mm a day"),
    ("_bar_abs", "bar (absolute)"),
    ("_w_m_k", "W/(m·K)"),
    ("_w_m2_k", "W/(m²·K)"),
    ("_bar_g", "bar (gauge)"),
    ("_mpa_s", "mPa·s"),
    ("_kg_m3", "kg/m³"),
    ("_percent", "%"),
    ("_l_min", "l/min"),
    ("_deg_c", "°C"),
    ("_m3_h", "m³/h"),
    ("_ml_h", "ml/h"),
    ("seconds", "s"),
    ("_l_h", "l/h"),
    ("_bits", "bit"),
    ("_days", "days"),
    ("_mbar", "mbar"),
    ("_bar", "bar"),
    ("_ohm", "Ω"),
    ("_min", "min"),
    ("_ml", "ml"),
    ("_mm", "mm"),
    ("_um", "µm"),
    ("_kg", "kg"),
    ("_m3", "m³"),
    ("_pa", "Pa"),
    ("_k", "K"),
    ("_l", "l"),
    ("_g", "g"),
    ("_d", "days"),
    ("_s", "s"),
    ("_h", "h"),
    ("_j", "J"),
    ("_m", "m"),
    ("_w", "W"),
];

/// The unit in a field's name; empty if it has none.
pub(crate) fn unit(name: &str) -> &'static str {
    UNITS.iter().find(|(ending, _)| name.ends_with(ending)).map_or("", |(_, unit)| unit)
}

/// The name in plain words, without its unit: `flow factor`.
pub(crate) fn plain_name(name: &str) -> String {
    let ending = UNITS.iter().find(|(ending, _)| ending.starts_with('_') && name.ends_with(ending));
    let stem = ending.map_or(name, |(ending, _)| name.strip_suffix(ending).unwrap_or(name));
    stem.replace('_', " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn longer_endings_come_before_shorter_ones() {
        for (at, (ending, _)) in UNITS.iter().enumerate() {
            let hidden = UNITS.iter().take(at).any(|(earlier, _)| ending.ends_with(earlier));
            assert!(!hidden, "{ending} is never found");
        }
        assert_eq!(unit("pressure_in_bar_g"), "bar (gauge)");
        assert_eq!(unit("sonic_conductance_dm3_s_bar"), "dm³/(s·bar)");
        assert_eq!(unit("prandtl"), "");
        assert_eq!(plain_name("flow_factor_m3_h"), "flow factor");
        assert_eq!(plain_name("seconds"), "seconds");
    }
}
