//! Digits: how a value and its uncertainty are written.
//!
//! The uncertainty has one significant digit, or two where it begins with 1 or 2 and the second digit is not
//! zero; the value ends at the same place. Source `jcgm-100`, 7.2.6 (from memory), asks for at most two.

use calc::estimate::Estimate;

/// Narrow no-break space, between a number and its unit.
pub(crate) const NARROW: char = '\u{202f}';
/// No-break space, inside a number with its uncertainty.
const JOIN: char = '\u{a0}';
/// Written where a number is not finite.
pub(crate) const NOT_KNOWN: &str = "not known";

/// Coverage that goes without saying; any other is written out.
const USUAL_COVERAGE: f64 = 0.95;
/// Difference of the two sides of an interval, in its half width, up to which it is written with `±`.
const NEARLY_SYMMETRIC: f64 = 0.2;
/// Sizes from which on plain digits would only fill the line.
const LARGEST_PLAIN: f64 = 1e9;
const SMALLEST_PLAIN: f64 = 1e-6;

/// A number and its unit, kept on one line.
pub(crate) fn with_unit(number: &str, unit: &str) -> String {
    format!("{number}{NARROW}{unit}")
}

/// An estimate in few digits, without its unit: `0.02 ± 0.01`, `0.8 (0.6 to 1.1)`, `under 0.03`.
pub(crate) fn estimate(estimate: &Estimate) -> String {
    written(estimate, None)
}

/// An estimate in few digits with its unit: `0.02 ± 0.01 mbar·l/s`, `0.8 mm (0.6 to 1.1)`, `under 0.03 ml`.
pub(crate) fn estimate_with_unit(estimate: &Estimate, unit: &str) -> String {
    written(estimate, Some(unit))
}

/// A percentage, always with its interval: `66 % (61 to 71)`.
pub(crate) fn percent(estimate: &Estimate) -> String {
    let (value, interval) = percent_parts(estimate);
    if interval.is_empty() { value } else { format!("{value} {interval}") }
}

/// A percentage and its interval apart, for a column: `66 %` and `(61 to 71)`.
pub(crate) fn percent_parts(estimate: &Estimate) -> (String, String) {
    let Some(place) = place_of_interval(estimate) else {
        return (lonely(estimate, Some("%")), String::new());
    };
    // Whole per cent, as people say them, unless the interval is narrower than that.
    let place = if estimate.half_width() >= 1.0 { 0 } else { place.min(0) };
    let value = with_unit(&at_place(estimate.value, place), "%");
    (value, format!("{}{}", bracket(estimate, place), coverage_note(estimate)))
}

/// A probability: `97 %`, `over 99 %`, `under 1 %`.
pub(crate) fn probability(value: f64) -> String {
    let text = match value {
        v if !v.is_finite() => return NOT_KNOWN.into(),
        v if v >= 1.0 => "100".into(),
        v if v > 0.99 => "over 99".into(),
        v if v > 0.0 && v < 0.01 => "under 1".into(),
        v => at_place(v * 100.0, 0),
    };
    with_unit(&text, "%")
}

/// An exact number in up to four significant digits, without trailing zeros.
pub(crate) fn plain(value: f64) -> String {
    in_digits(value, 4)
}

/// The same in up to six, for whoever goes on calculating with it.
pub(crate) fn long(value: f64) -> String {
    in_digits(value, 6)
}

fn in_digits(value: f64, digits: i32) -> String {
    if !value.is_finite() {
        return NOT_KNOWN.into();
    }
    if value == 0.0 {
        return "0".into();
    }
    let text = at_place(value, exponent_of(value) + 1 - digits);
    if text.contains('.') && !text.contains('×') {
        text.trim_end_matches('0').trim_end_matches('.').into()
    } else {
        text
    }
}

/// A number rounded to a power of ten: place -2 gives two decimals, place 1 full tens.
pub(crate) fn at_place(value: f64, place: i32) -> String {
    if !value.is_finite() {
        return NOT_KNOWN.into();
    }
    let size = value.abs();
    if size >= LARGEST_PLAIN || (size > 0.0 && size < SMALLEST_PLAIN && place < -6) {
        return scientific(value);
    }
    let text = if place > 0 {
        let unit = 10f64.powi(place);
        format!("{:.0}", (size / unit).round() * unit)
    } else {
        format!("{size:.0$}", place.unsigned_abs().min(9) as usize)
    };
    let nothing_left = text.bytes().all(|byte| byte == b'0' || byte == b'.');
    let sign = if value < 0.0 && !nothing_left { "\u{2212}" } else { "" };
    format!("{sign}{}", grouped(&text))
}

fn written(estimate: &Estimate, unit: Option<&str>) -> String {
    let Estimate { value, low, high, .. } = *estimate;
    let note = coverage_note(estimate);
    let joined = |text: String| unit.map_or(text.clone(), |unit| with_unit(&text, unit));
    if !value.is_finite() {
        return NOT_KNOWN.into();
    }
    if low.is_nan() || high.is_nan() || low > value || value > high {
        return lonely(estimate, unit);
    }
    if low <= 0.0 && high > 0.0 && high.is_finite() {
        return format!("{}{note}", joined(format!("under{JOIN}{}", rounded_up(high))));
    }
    if high.is_infinite() && low.is_finite() {
        return format!("{}{note}", joined(format!("over{JOIN}{}", plain(low))));
    }
    let Some(place) = place_of_interval(estimate) else { return lonely(estimate, unit) };
    let half_width = estimate.half_width();
    let best = at_place(value, place);
    if ((high - value) - (value - low)).abs() <= NEARLY_SYMMETRIC * half_width {
        return format!("{}{note}", joined(format!("{best}{JOIN}±{JOIN}{}", at_place(half_width, place))));
    }
    format!("{} {}{note}", joined(best), bracket(estimate, place))
}

fn bracket(estimate: &Estimate, place: i32) -> String {
    format!("({}{JOIN}to{JOIN}{})", at_place(estimate.low, place), at_place(estimate.high, place))
}

/// A value whose interval cannot be written.
fn lonely(estimate: &Estimate, unit: Option<&str>) -> String {
    if !estimate.value.is_finite() {
        return NOT_KNOWN.into();
    }
    let value = plain(estimate.value);
    let exact =
        estimate.low.total_cmp(&estimate.value).is_eq() && estimate.high.total_cmp(&estimate.value).is_eq();
    let text = unit.map_or(value.clone(), |unit| with_unit(&value, unit));
    if exact { text } else { format!("{text} (uncertainty not known)") }
}

fn coverage_note(estimate: &Estimate) -> String {
    if (estimate.coverage - USUAL_COVERAGE).abs() < 5e-4 {
        String::new()
    } else {
        format!(" at {}", probability(estimate.coverage))
    }
}

/// The last place that the narrower side of the interval allows.
fn place_of_interval(estimate: &Estimate) -> Option<i32> {
    let Estimate { value, low, high, .. } = *estimate;
    let (below, above) = (value - low, high - value);
    if !(below.is_finite() && above.is_finite()) || below < 0.0 || above < 0.0 {
        return None;
    }
    let narrow = if below > 0.0 && above > 0.0 { below.min(above) } else { below.max(above) };
    // An interval of next to nothing would ask for more digits than anyone reads.
    (narrow > 0.0).then(|| place_of(narrow).max(exponent_of(value) - 5))
}

/// The place of the last digit that an uncertainty keeps.
fn place_of(uncertainty: f64) -> i32 {
    let text = format!("{uncertainty:.1e}");
    let two_digits =
        (text.starts_with('1') || text.starts_with('2')) && text.as_bytes().get(2) != Some(&b'0');
    // Rounding to one digit may carry: 0.0098 becomes 0.01.
    if two_digits { power_of_ten(&text) - 1 } else { power_of_ten(&format!("{uncertainty:.0e}")) }
}

/// Power of ten of the first digit, after rounding to two digits.
fn exponent_of(value: f64) -> i32 {
    power_of_ten(&format!("{value:.1e}"))
}

/// The power of ten that a number in scientific notation ends with.
fn power_of_ten(scientific: &str) -> i32 {
    scientific.split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0)
}

/// An upper bound in up to two digits, never below the bound itself.
fn rounded_up(bound: f64) -> String {
    let mut place = place_of(bound);
    for _ in 0..2 {
        let unit = 10f64.powi(place);
        let raised = (bound / unit - 1e-9).ceil() * unit;
        let again = place_of(raised);
        if again == place {
            return at_place(raised, place);
        }
        place = again;
    }
    at_place(bound, place)
}

fn scientific(value: f64) -> String {
    let text = format!("{value:.1e}");
    let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    format!("{mantissa} × 10^{exponent}").replace('-', "\u{2212}")
}

/// Narrow spaces between groups of three, from five digits on.
fn grouped(text: &str) -> String {
    let (whole, rest) = text.find('.').map_or((text, ""), |dot| text.split_at(dot));
    if whole.len() < 5 {
        return text.into();
    }
    let mut out = String::new();
    for (index, digit) in whole.chars().enumerate() {
        if index > 0 && (whole.len() - index) % 3 == 0 {
            out.push(NARROW);
        }
        out.push(digit);
    }
    out + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    fn interval(value: f64, low: f64, high: f64) -> Estimate {
        Estimate { value, low, high, coverage: 0.95 }
    }

    #[test]
    fn uncertainty_in_few_digits_and_value_to_the_same_place() {
        let cases = [
            (interval(0.0204, 0.0106, 0.0302), "0.02 ± 0.01"),
            (interval(4.087, 3.67, 4.504), "4.1 ± 0.4"),
            (interval(0.4712, 0.4598, 0.4826), "0.471 ± 0.011"),
            (interval(1234.0, 1110.0, 1358.0), "1230 ± 120"),
            (interval(62_340.0, 61_900.0, 62_780.0), "62\u{202f}300 ± 400"),
            (interval(-3.0, -3.5, -2.5), "\u{2212}3.0 ± 0.5"),
            (interval(0.8, 0.6, 1.1), "0.8 (0.6 to 1.1)"),
            (interval(1.0, 0.1, 10.0), "1.0 (0.1 to 10.0)"),
        ];
        for (given, expected) in cases {
            assert_eq!(estimate(&given).replace(JOIN, " "), expected);
        }
    }

    #[test]
    fn one_sided_bounds_are_never_rounded_to_the_safe_looking_side() {
        assert_eq!(estimate(&interval(0.01, -0.01, 0.0298)), "under\u{a0}0.03");
        assert_eq!(estimate(&interval(0.01, 0.0, 0.0211)), "under\u{a0}0.022");
        assert_eq!(estimate(&interval(0.01, 0.0, 0.0301)), "under\u{a0}0.04");
        assert_eq!(estimate(&interval(0.01, 0.0, 0.0991)), "under\u{a0}0.1");
        assert_eq!(estimate(&interval(2.0, 1.5, f64::INFINITY)), "over\u{a0}1.5");
        assert_eq!(estimate_with_unit(&interval(0.01, 0.0, 0.03), "ml"), "under\u{a0}0.03\u{202f}ml");
    }

    #[test]
    fn percentages_always_show_their_interval() {
        assert_eq!(percent(&interval(66.1, 61.0, 71.2)), "66\u{202f}% (61\u{a0}to\u{a0}71)");
        assert_eq!(percent(&interval(104.6, 95.0, 115.6)), "105\u{202f}% (95\u{a0}to\u{a0}116)");
        assert_eq!(percent(&interval(99.52, 99.02, 100.02)), "99.5\u{202f}% (99.0\u{a0}to\u{a0}100.0)");
    }

    #[test]
    fn what_is_not_a_number_is_said() {
        assert_eq!(estimate(&interval(f64::NAN, 0.0, 1.0)), NOT_KNOWN);
        assert_eq!(percent(&interval(f64::NAN, 0.0, 1.0)), NOT_KNOWN);
        assert_eq!(estimate(&interval(2.0, f64::NAN, 3.0)), "2 (uncertainty not known)");
        assert_eq!(estimate(&interval(2.0, 3.0, 4.0)), "2 (uncertainty not known)");
        assert_eq!(plain(f64::INFINITY), NOT_KNOWN);
        assert_eq!(probability(f64::NAN), NOT_KNOWN);
    }

    #[test]
    fn exact_values_and_other_coverages() {
        assert_eq!(estimate(&interval(5.0, 5.0, 5.0)), "5");
        assert_eq!(plain(0.25), "0.25");
        assert_eq!(plain(-0.0), "0");
        assert_eq!(plain(1234.56), "1235");
        assert_eq!(plain(1e300), "1.0 × 10^300");
        assert_eq!(at_place(-0.001, -2), "0.00");
        let given = Estimate { coverage: 0.9, ..interval(5.0, 4.0, 6.0) };
        assert_eq!(estimate(&given), "5\u{a0}±\u{a0}1 at 90\u{202f}%");
    }

    #[test]
    fn probabilities_never_claim_more_than_they_say() {
        assert_eq!(probability(0.997), "over 99\u{202f}%");
        assert_eq!(probability(0.004), "under 1\u{202f}%");
        assert_eq!(probability(0.0), "0\u{202f}%");
        assert_eq!(probability(1.0), "100\u{202f}%");
        assert_eq!(probability(0.971), "97\u{202f}%");
    }
}
