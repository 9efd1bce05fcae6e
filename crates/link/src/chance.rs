//! Chance with a seed: the same seed gives the same draws on every machine.

use calc::numeric::math;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What a stream of draws is for. Each purpose has its own stream, so that one more reading in a plan does not
/// change the mould behind it.
#[derive(Clone, Copy, Debug)]
pub enum Purpose {
    /// What all circuits of a mould share.
    Shop,
    /// The steel of a circuit as it was drilled.
    Steel,
    /// Errors of gauges, meters and hoses.
    Instruments,
    /// What the mould file says of a circuit's pieces.
    Paper,
    /// What the mould file holds as a baseline.
    Record,
    /// The readings of one entry of the plan.
    Reading,
    /// An invented plan.
    Invention,
}

/// A stream of random numbers.
#[derive(Debug)]
pub struct Chance(ChaCha8Rng);

impl Chance {
    /// The stream of a seed for one purpose and one place (circuit or reading).
    #[must_use]
    pub fn new(seed: u64, purpose: Purpose, place: usize) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(((purpose as u64) << 32) | place as u64);
        Self(generator)
    }

    /// Evenly between two numbers.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// A standard normal number.
    pub fn normal(&mut self) -> f64 {
        self.pair().0
    }

    /// Two standard normal numbers by the polar method (Marsaglia and Bray 1964): a point in the unit disc.
    fn pair(&mut self) -> (f64, f64) {
        loop {
            let (x, y) = (self.between(-1.0, 1.0), self.between(-1.0, 1.0));
            let square = x * x + y * y;
            if square > 0.0 && square < 1.0 {
                let stretch = (-2.0 * math::ln(square) / square).sqrt();
                return (x * stretch, y * stretch);
            }
        }
    }

    /// A list of standard normal numbers; both numbers of each pair are used.
    pub fn normals(&mut self, count: usize) -> Vec<f64> {
        let mut drawn = Vec::with_capacity(count + 1);
        while drawn.len() < count {
            let (x, y) = self.pair();
            drawn.push(x);
            drawn.push(y);
        }
        drawn.truncate(count);
        drawn
    }

    /// Factor around 1 whose logarithm is normal with this standard deviation.
    pub fn factor(&mut self, ln_sd: f64) -> f64 {
        math::exp(ln_sd * self.normal())
    }

    /// True with this probability.
    pub fn happens(&mut self, probability: f64) -> bool {
        self.0.random::<f64>() < probability
    }

    /// A whole number from `low` up to and with `high`.
    pub fn whole(&mut self, low: usize, high: usize) -> usize {
        self.0.random_range(low..=high.max(low))
    }

    /// One of a list that is not empty.
    ///
    /// # Panics
    /// If the list is empty; lists are constants of this crate.
    pub fn one_of<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        let place = self.whole(0, list.len().saturating_sub(1));
        &list[place]
    }

    /// Position drawn by weight.
    pub fn by_weight(&mut self, weights: &[f64]) -> usize {
        let mut left = self.between(0.0, weights.iter().sum());
        for (place, weight) in weights.iter().enumerate() {
            left -= weight;
            if left < 0.0 {
                return place;
            }
        }
        weights.len().saturating_sub(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_seed_decides_and_purposes_do_not_mix() {
        let draw = |seed, purpose, place| Chance::new(seed, purpose, place).normals(5);
        assert_eq!(draw(7, Purpose::Steel, 2), draw(7, Purpose::Steel, 2));
        assert_ne!(draw(7, Purpose::Steel, 2), draw(8, Purpose::Steel, 2));
        assert_ne!(draw(7, Purpose::Steel, 2), draw(7, Purpose::Steel, 3));
        assert_ne!(draw(7, Purpose::Steel, 2), draw(7, Purpose::Reading, 2));
    }

    #[test]
    fn normal_numbers_have_mean_zero_and_deviation_one() {
        let drawn = Chance::new(1, Purpose::Reading, 0).normals(20_000);
        let count = 20_000.0;
        let mean = drawn.iter().sum::<f64>() / count;
        let variance = drawn.iter().map(|x| x * x).sum::<f64>() / count;
        // Four standard errors: 4/sqrt(n) and 4 sqrt(2/n).
        assert!(mean.abs() < 0.0283, "{mean}");
        assert!((variance - 1.0).abs() < 0.04, "{variance}");
    }

    #[test]
    fn weights_are_kept() {
        let mut chance = Chance::new(3, Purpose::Invention, 0);
        let hits = (0..4000).filter(|_| chance.by_weight(&[1.0, 3.0]) == 1).count();
        assert!((2860..=3140).contains(&hits), "{hits}");
    }
}
