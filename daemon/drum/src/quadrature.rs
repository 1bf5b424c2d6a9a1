//! Integrals by Gauss and Legendre's rule with eight points (Abramowitz and Stegun, Handbook of Mathematical Functions,
//! 1964, table 25.4, from memory), which is exact for polynomials up to the fifteenth degree.

/// Places between `from` and `to` and what each of them stands for: the integral of f is the sum of weight · f(place).
pub fn eight_points(from: f64, to: f64) -> impl Iterator<Item = (f64, f64)> {
    let (middle, half) = (f64::midpoint(from, to), (to - from) / 2.0);
    let point = move |sign: f64, (place, weight): (f64, f64)| (middle + sign * place * half, weight * half);
    GAUSS_LEGENDRE.into_iter().flat_map(move |row| [-1.0, 1.0].map(|sign| point(sign, row)))
}

/// Places and weights of the eight points, of which each stands for two.
const GAUSS_LEGENDRE: [(f64, f64); 4] = [
    (0.183_434_642_495_650, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887),
    (0.796_666_477_413_627, 0.222_381_034_453_374),
    (0.960_289_856_497_536, 0.101_228_536_290_376),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polynomials_up_to_the_fifteenth_degree_come_out_exactly_and_the_next_does_not() {
        for (from, to) in [(0.0_f64, 1.0_f64), (-1.0, 2.0), (0.5, 0.75)] {
            for degree in 0..=16 {
                let ours: f64 = eight_points(from, to).map(|(x, weight)| weight * x.powi(degree)).sum();
                // The antiderivative of x^n is x^(n+1) / (n+1).
                let exact = (to.powi(degree + 1) - from.powi(degree + 1)) / f64::from(degree + 1);
                let off = (ours - exact).abs() / exact.abs().max(1.0);
                if degree <= 15 {
                    assert!(off < 1e-12, "x^{degree} from {from} to {to}: {ours}, not {exact}");
                } else if to - from > 2.0 {
                    assert!(off > 1e-9, "eight points can't do x^{degree}: {ours}, {exact}");
                }
            }
        }
    }
}
