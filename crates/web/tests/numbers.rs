//! What a circuit's page says of its numbers can be followed with a calculator, in whatever units the page is read.

#![allow(clippy::unwrap_used)]

mod house;

use axum::http::StatusCode;
use calc::numeric::math;
use house::House;

const VISIT: &str = "/moulds/M%2F1/visits/first";
const CIRCUIT: &str = "/moulds/M%2F1/visits/first/circuits/F1";

/// The part of the page that works out one number.
fn working<'a>(page: &'a str, number: &str) -> &'a str {
    let from = page.find(&format!("<h5>{number}</h5>")).unwrap_or_else(|| panic!("no {number} in {page}"));
    let rest = &page[from..];
    &rest[..rest.find("</table>").unwrap()]
}

/// The number of this letter, as it stands there.
fn value(working: &str, letter: &str) -> f64 {
    let row = working.split(&format!("<th scope=\"row\">{letter}</th>")).nth(1).unwrap();
    let cell = row.split("= ").nth(1).unwrap().split('<').next().unwrap();
    let digits: String = cell
        .replace('\u{2212}', "-")
        .chars()
        .take_while(|letter| letter.is_ascii_digit() || "-.".contains(*letter))
        .collect();
    digits.parse().unwrap_or_else(|_| panic!("{cell} for {letter}"))
}

#[test]
fn a_number_can_be_worked_from_what_its_page_says() {
    let house = House::with_a_visit();
    let flow = [
        ("flow_l_min", "14.2"),
        ("pressure_in_bar_g", "2.1"),
        ("pressure_out_bar_g", "0.4"),
        ("water_temperature_deg_c", "38"),
        ("others", "closed"),
        ("through_fixture", "false"),
    ];
    let answer = house.send(CIRCUIT, &format!("{CIRCUIT}/enter/flow"), &flow);
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let page = house.get(CIRCUIT).body;
    let one = working(&page, "Flow factor");
    let of = |letter| value(one, letter);
    // The definition (IEC 60534-2-1): 14.2 l/min at 1.7 bar, both told.
    assert!((of("q") - 0.852).abs() < 1e-9 && (of("Δp") - 1.7).abs() < 1e-9);
    let thinner = of("ν20") / of("ν");
    let twin = of("Δp") * of("ρ20") / of("ρ") * thinner.powi(2);
    let by_hand = of("q") * thinner * math::powf(1.0 / twin, 1.0 / of("n"));
    assert!((by_hand / of("K") - 1.0).abs() < 1e-4, "{by_hand}");
    let share = working(&page, "Flow factor, of what it should be");
    let percent = 100.0 * value(share, "X") / value(share, "X0");
    assert!((percent / value(share, "s") - 1.0).abs() < 1e-4, "{percent}");
    assert!((value(share, "X") / by_hand - 1.0).abs() < 0.02, "what is found is near what comes out by hand");
    // In other units the drawing changes and the formula does not.
    let answer = house.send("/me", "/me/units", &[("pressure", "psi"), ("flow", "gpm")]);
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let other = house.get(CIRCUIT).body;
    assert!(other.contains("pressure drop, psi") && other.contains("data-plot"));
    assert_eq!(working(&other, "Flow factor"), one);
    // The sheet is for paper and for people elsewhere: no script, and nothing for one.
    let sheet = house.get(&format!("{VISIT}/sheet")).body;
    assert!(sheet.contains("Pressure drop against flow"), "{sheet}");
    for part in ["data-plot", "chart-tools", "class=\"how\"", "<script"] {
        assert!(!sheet.contains(part), "{part}");
    }
}
