//! The small signs that stand beside a word; each has its own shape, so that colour is never needed.

use bench::finding::{Fitness, NextStep};
use maud::Markup;

use crate::svg::{Path, Svg};

const SIZE: f64 = 20.0;

/// Sign of a next step.
pub(crate) fn next_step(step: NextStep) -> Markup {
    let mut svg = sign();
    match step {
        NextStep::Leave => svg.polyline("s-line", &TICK),
        NextStep::FindOut => {
            svg.circle("s-line", (8.5, 8.5), 5.2);
            svg.line("s-line", (12.4, 12.4), (17.2, 17.2));
        }
        NextStep::Open => {
            svg.line("s-line", (1.5, 10.0), (17.5, 10.0));
            svg.polyline("s-line", &[(13.0, 5.5), (17.5, 10.0), (13.0, 14.5)]);
            svg.line("s-line", (7.5, 1.5), (7.5, 6.2));
            svg.line("s-line", (7.5, 13.8), (7.5, 18.5));
        }
        NextStep::Repair => {
            svg.polygon("s-fill", &HEXAGON);
            svg.circle("s-hole", (10.0, 10.0), 3.4);
        }
        NextStep::Descale => svg.path("s-fill", &drop_of_liquid()),
        NextStep::Retire => {
            svg.circle("s-line", (10.0, 10.0), 7.4);
            svg.line("s-line", (4.8, 15.2), (15.2, 4.8));
        }
    }
    svg.beside_word()
}

/// Sign of a step that is allowed or not.
pub(crate) fn gate(open: bool) -> Markup {
    let mut svg = sign();
    if open {
        svg.polyline("s-line", &TICK);
    } else {
        svg.polygon("s-fill", &OCTAGON);
        svg.line("s-cut", (5.5, 10.0), (14.5, 10.0));
    }
    svg.beside_word()
}

/// Sign of the answer to 'fit for the press?'.
pub(crate) fn fitness(fitness: Fitness) -> Markup {
    let mut svg = sign();
    match fitness {
        Fitness::Yes => svg.polyline("s-line", &TICK),
        Fitness::No => {
            svg.polygon("s-fill", &OCTAGON);
            svg.line("s-cut", (6.5, 6.5), (13.5, 13.5));
            svg.line("s-cut", (13.5, 6.5), (6.5, 13.5));
        }
        Fitness::CannotTell => {
            svg.circle("s-dashed", (10.0, 10.0), 8.6);
            question_mark(&mut svg);
        }
    }
    svg.beside_word()
}

/// Sign of a caution.
pub(crate) fn caution() -> Markup {
    let mut svg = sign();
    svg.polygon("s-outline", &[(10.0, 2.2), (18.6, 17.4), (1.4, 17.4)]);
    svg.line("s-line", (10.0, 7.6), (10.0, 11.8));
    svg.circle("s-fill", (10.0, 14.7), 1.1);
    svg.beside_word()
}

const TICK: [(f64, f64); 3] = [(3.5, 10.8), (8.2, 15.5), (16.5, 5.0)];
const HEXAGON: [(f64, f64); 6] =
    [(18.5, 10.0), (14.25, 17.4), (5.75, 17.4), (1.5, 10.0), (5.75, 2.6), (14.25, 2.6)];
const OCTAGON: [(f64, f64); 8] =
    [(6.5, 1.5), (13.5, 1.5), (18.5, 6.5), (18.5, 13.5), (13.5, 18.5), (6.5, 18.5), (1.5, 13.5), (1.5, 6.5)];

fn sign() -> Svg {
    Svg::new(SIZE, SIZE, "sign")
}

fn drop_of_liquid() -> Path {
    Path::new()
        .start((10.0, 1.2))
        .bend_to((15.9, 8.2), (15.9, 12.6))
        .arc_to(5.9, false, (4.1, 12.6))
        .bend_to((4.1, 8.2), (10.0, 1.2))
        .close()
}

fn question_mark(svg: &mut Svg) {
    let hook =
        Path::new().start((7.2, 7.8)).arc_to(2.9, true, (11.2, 10.4)).bend_to((10.0, 11.0), (10.0, 12.4));
    svg.path("s-line", &hook);
    svg.circle("s-fill", (10.0, 15.2), 1.1);
}
