//! How large a rate may be that was measured by counting: exact upper bounds, one
//! side, 95 %.

/// What a bound may be wrong in, as a share.
const MISS: f64 = 0.05;

/// The largest share that still makes `found` or fewer of `of` as likely as 5 %:
/// the bound of Clopper and Pearson. 1 where nothing was tried.
pub(super) fn share(found: u64, of: u64) -> f64 {
    if of <= found {
        return 1.0;
    }
    if found == 0 {
        return 1.0 - MISS.powf(1.0 / float(of));
    }
    largest(1.0, |p| {
        // ln of each term, from none to `found`, each out of the one before.
        let mut term = float(of) * (1.0 - p).ln();
        let mut sum = term.exp();
        for k in 1..=found {
            term += (float(of - k + 1) / float(k)).ln() + (p / (1.0 - p)).ln();
            sum += term.exp();
        }
        sum
    })
}

/// The same for events that come by themselves: the largest mean number.
pub(super) fn events(found: u64) -> f64 {
    let top = 2.0 * float(found) + 20.0;
    largest(top, |mean| {
        let mut term = -mean;
        let mut sum = term.exp();
        for k in 1..=found {
            term += (mean / float(k)).ln();
            sum += term.exp();
        }
        sum
    })
}

/// Where a falling likelihood has fallen to 5 %, between 0 and `top`.
fn largest(top: f64, likelihood: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, top);
    for _ in 0..100 {
        let middle = f64::midpoint(low, high);
        if likelihood(middle) < MISS {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

#[expect(clippy::cast_precision_loss, reason = "counts of clips")]
pub(super) fn float(count: u64) -> f64 {
    count as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Clopper and Pearson's bound for zero is 1 − α^(1/n); Hanley and Lippman-Hand
    /// (JAMA 249, 1983) put 3/n for it. Within 2 % from n = 100 on, and never below it.
    #[test]
    fn the_rule_of_three_is_the_exact_bound_for_zero() {
        for n in [30, 100, 1_000, 10_000, 1_000_000] {
            let (exact, rule) = (share(0, n), 3.0 / float(n));
            assert!(exact < rule, "{n}");
            if 100 <= n {
                assert!(rule / exact < 1.02, "{n}: {exact} and {rule}");
            }
        }
        assert!((share(0, 10) - 0.2589).abs() < 1e-4, "1 - 0.05^(1/10)");
    }

    /// The bound is the share at which the binomial sum is 5 %: checked by the sum
    /// itself in small cases, written out by hand.
    #[test]
    fn the_bound_solves_the_binomial_sum() {
        let p = share(1, 3);
        let sum = (1.0 - p).powi(3) + 3.0 * p * (1.0 - p).powi(2);
        assert!((sum - 0.05).abs() < 1e-9, "{sum}");
        let p = share(2, 4);
        let q = 1.0 - p;
        let sum = q.powi(4) + 4.0 * p * q.powi(3) + 6.0 * p * p * q * q;
        assert!((sum - 0.05).abs() < 1e-9, "{sum}");
        assert!((share(3, 3) - 1.0).abs() < 1e-12);
        assert!((share(0, 0) - 1.0).abs() < 1e-12);
    }

    /// Gehrels, Astrophysical Journal 303 (1986), table 1, confidence 0.95 (from memory).
    #[test]
    fn the_bound_of_events_is_the_published_one() {
        for (found, upper) in [(0, 2.996), (1, 4.744), (2, 6.296), (3, 7.754), (4, 9.154)] {
            assert!((events(found) - upper).abs() < 1e-3, "{found}: {}", events(found));
        }
    }
}
