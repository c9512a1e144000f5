//! Exact rational numbers in 128 bits. Every operation is checked: a result
//! that does not fit is an error, never a wrapped or rounded value.

use std::cmp::Ordering;
use std::fmt;

use super::MeasureError;

/// An exact rational number, always reduced, with a denominator above zero.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Ratio {
    // Never i128::MIN, so that negation and absolute value cannot overflow.
    num: i128,
    den: i128,
}

/// Which way to round.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Rounding {
    /// Towards more (plus infinity): for minimums.
    Up,
    /// Towards less (minus infinity): for maximums.
    Down,
    /// To the nearest, a tie goes up.
    Nearest,
    /// To the nearest, a tie goes to the even multiple.
    NearestEven,
}

/// The decimal places that a square root is rounded to, as a power of ten.
const ROOT_SCALE: i128 = 1_000_000_000;

impl Ratio {
    /// Zero.
    pub const ZERO: Self = Self::int(0);
    /// One.
    pub const ONE: Self = Self::int(1);
    /// 1/16, the finest mark on the tapes of the trade when taken in inches.
    pub const SIXTEENTH: Self = Self::reduced(1, 16);
    /// 1/100.
    pub const HUNDREDTH: Self = Self::reduced(1, 100);

    /// A whole number.
    pub const fn int(n: i64) -> Self {
        Self { num: n as i128, den: 1 }
    }

    /// A constant fraction that is already reduced; only for tables in this module.
    pub(super) const fn reduced(num: i64, den: i64) -> Self {
        Self { num: num as i128, den: den as i128 }
    }

    /// The fraction `num / den`, reduced.
    ///
    /// # Errors
    /// When `den` is zero or a part does not fit.
    pub fn new(num: i128, den: i128) -> Result<Self, MeasureError> {
        if den == 0 {
            return Err(MeasureError::DivisionByZero);
        }
        if num == i128::MIN || den == i128::MIN {
            return Err(MeasureError::Overflow);
        }
        let (num, den) = if den < 0 { (-num, -den) } else { (num, den) };
        let common = gcd(num.abs(), den);
        Ok(if common == 1 {
            Self { num, den }
        } else {
            Self { num: num / common, den: den / common }
        })
    }

    /// The numerator, which carries the sign.
    pub fn numerator(self) -> i128 {
        self.num
    }

    /// The denominator, above zero.
    pub fn denominator(self) -> i128 {
        self.den
    }

    /// `self + other`.
    ///
    /// # Errors
    /// When the sum does not fit.
    pub fn plus(self, other: Self) -> Result<Self, MeasureError> {
        if self.den == other.den {
            let num = self.num.checked_add(other.num).ok_or(MeasureError::Overflow)?;
            return if self.den == 1 { whole(num) } else { Self::new(num, self.den) };
        }
        let common = gcd(self.den, other.den);
        let (mine, theirs) = (self.den / common, other.den / common);
        let left = self.num.checked_mul(theirs).ok_or(MeasureError::Overflow)?;
        let right = other.num.checked_mul(mine).ok_or(MeasureError::Overflow)?;
        let num = left.checked_add(right).ok_or(MeasureError::Overflow)?;
        Self::new(num, mine.checked_mul(other.den).ok_or(MeasureError::Overflow)?)
    }

    /// `self - other`.
    ///
    /// # Errors
    /// When the difference does not fit.
    pub fn minus(self, other: Self) -> Result<Self, MeasureError> {
        self.plus(other.neg())
    }

    /// `self * other`.
    ///
    /// # Errors
    /// When the product does not fit.
    pub fn times(self, other: Self) -> Result<Self, MeasureError> {
        if self.den == 1 && other.den == 1 {
            return whole(self.num.checked_mul(other.num).ok_or(MeasureError::Overflow)?);
        }
        // Reducing crosswise first keeps the parts small and the result reduced.
        let (a, b) = (gcd(self.num.abs(), other.den), gcd(other.num.abs(), self.den));
        let num = (self.num / a).checked_mul(other.num / b).ok_or(MeasureError::Overflow)?;
        let den = (self.den / b).checked_mul(other.den / a).ok_or(MeasureError::Overflow)?;
        if num == i128::MIN { Err(MeasureError::Overflow) } else { Ok(Self { num, den }) }
    }

    /// `self / other`.
    ///
    /// # Errors
    /// When `other` is zero or the quotient does not fit.
    pub fn over(self, other: Self) -> Result<Self, MeasureError> {
        match other.num.signum() {
            0 => Err(MeasureError::DivisionByZero),
            1 => self.times(Self { num: other.den, den: other.num }),
            _ => self.times(Self { num: -other.den, den: -other.num }),
        }
    }

    /// The number with its sign changed.
    #[expect(clippy::should_implement_trait, reason = "reads as the other named operations do")]
    pub fn neg(self) -> Self {
        Self { num: -self.num, den: self.den }
    }

    /// The number without its sign.
    pub fn abs(self) -> Self {
        Self { num: self.num.abs(), den: self.den }
    }

    /// The largest whole number not above this one.
    pub fn floor(self) -> i128 {
        self.num.div_euclid(self.den)
    }

    /// The smallest whole number not below this one.
    pub fn ceil(self) -> i128 {
        -((-self.num).div_euclid(self.den))
    }

    /// The nearby whole number that `how` says.
    pub fn round(self, how: Rounding) -> i128 {
        let (below, rest) = (self.floor(), self.num.rem_euclid(self.den));
        let above = match how {
            Rounding::Down => false,
            Rounding::Up => rest != 0,
            Rounding::Nearest => self.den - rest <= rest,
            Rounding::NearestEven => match rest.cmp(&(self.den - rest)) {
                Ordering::Less => false,
                Ordering::Greater => true,
                Ordering::Equal => below % 2 != 0,
            },
        };
        // A rest to round away means a denominator above 1, so this cannot saturate.
        if above { below.saturating_add(1) } else { below }
    }

    /// The multiple of `step` near this number that `how` says.
    ///
    /// # Errors
    /// When `step` is not above zero or the result does not fit.
    pub fn round_to(self, step: Self, how: Rounding) -> Result<Self, MeasureError> {
        if step.num <= 0 {
            return Err(MeasureError::Step);
        }
        whole(self.over(step)?.round(how))?.times(step)
    }

    /// The nearest binary floating point number, for drawing and display only.
    pub fn to_f64(self) -> f64 {
        self.num as f64 / self.den as f64
    }

    /// Whether the denominator is 1.
    pub fn is_integer(self) -> bool {
        self.den == 1
    }

    /// Reads a decimal number such as `1.5` or `-0.25` exactly.
    ///
    /// # Errors
    /// When the text is no decimal number or has too many digits.
    pub fn from_decimal(text: &str) -> Result<Self, MeasureError> {
        let not = || MeasureError::NotANumber(text.chars().take(40).collect());
        let (negative, digits) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text),
        };
        let (before, after) = digits.split_once('.').unwrap_or((digits, ""));
        if before.is_empty() && after.is_empty() || digits.ends_with('.') {
            return Err(not());
        }
        let (mut num, mut den) = (0_i128, 1_i128);
        for (fraction, digit) in
            before.chars().map(|c| (false, c)).chain(after.chars().map(|c| (true, c)))
        {
            let digit = i128::from(digit.to_digit(10).ok_or_else(not)?);
            num = num
                .checked_mul(10)
                .and_then(|n| n.checked_add(digit))
                .ok_or(MeasureError::Overflow)?;
            if fraction {
                den = den.checked_mul(10).ok_or(MeasureError::Overflow)?;
            }
        }
        Self::new(if negative { -num } else { num }, den)
    }

    /// The square root: exact where it is rational, else rounded once to 1e-9.
    ///
    /// # Errors
    /// When the number is negative or too large.
    pub fn sqrt(self) -> Result<Self, MeasureError> {
        if self.num < 0 {
            return Err(MeasureError::NegativeRoot);
        }
        let (num, den) = (self.num.isqrt(), self.den.isqrt());
        if num * num == self.num && den * den == self.den {
            return Self::new(num, den);
        }
        // floor(4e18 * self), whose root is 2e9 * sqrt(self): one spare bit to round with.
        let square = self.scaled(4 * ROOT_SCALE * ROOT_SCALE)?;
        Self::new(square.isqrt().checked_add(1).ok_or(MeasureError::Overflow)? / 2, ROOT_SCALE)
    }

    /// `floor(self * scale)` for numbers not below zero, without a large product.
    fn scaled(self, scale: i128) -> Result<i128, MeasureError> {
        if let Some(product) = self.num.checked_mul(scale) {
            return Ok(product / self.den);
        }
        // Binary long division: the rest stays below the denominator.
        let (mut result, mut rest) = (0_i128, 0_i128);
        let (quotient, remainder) = (self.num / self.den, self.num % self.den);
        for bit in (0..i128::BITS - scale.leading_zeros()).rev() {
            result = result.checked_mul(2).ok_or(MeasureError::Overflow)?;
            rest = rest.checked_mul(2).ok_or(MeasureError::Overflow)?;
            if scale >> bit & 1 == 1 {
                rest = rest.checked_add(remainder).ok_or(MeasureError::Overflow)?;
            }
            result = result.checked_add(rest / self.den).ok_or(MeasureError::Overflow)?;
            rest %= self.den;
        }
        quotient
            .checked_mul(scale)
            .and_then(|whole| whole.checked_add(result))
            .ok_or(MeasureError::Overflow)
    }

    pub(super) fn from_whole(n: i128) -> Result<Self, MeasureError> {
        whole(n)
    }
}

fn whole(num: i128) -> Result<Ratio, MeasureError> {
    if num == i128::MIN { Err(MeasureError::Overflow) } else { Ok(Ratio { num, den: 1 }) }
}

/// The greatest common divisor of two numbers not below zero.
fn gcd(mut a: i128, mut b: i128) -> i128 {
    loop {
        // 64-bit arithmetic is several times faster and nearly always enough.
        if let (Ok(a), Ok(b)) = (u64::try_from(a), u64::try_from(b)) {
            return i128::from(gcd64(a, b));
        }
        if b == 0 {
            return a;
        }
        (a, b) = (b, a % b);
    }
}

fn gcd64(mut a: u64, mut b: u64) -> u64 {
    if a == 0 || b == 0 {
        return a | b;
    }
    let shift = (a | b).trailing_zeros();
    a >>= a.trailing_zeros();
    loop {
        b >>= b.trailing_zeros();
        if b < a {
            std::mem::swap(&mut a, &mut b);
        }
        b -= a;
        if b == 0 {
            return a << shift;
        }
    }
}

impl PartialOrd for Ratio {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Ratio {
    fn cmp(&self, other: &Self) -> Ordering {
        if self.den == other.den {
            return self.num.cmp(&other.num);
        }
        match (self.num.checked_mul(other.den), other.num.checked_mul(self.den)) {
            (Some(left), Some(right)) => left.cmp(&right),
            _ => by_continued_fractions(*self, *other),
        }
    }
}

/// Compares without any product: whole parts first, then the reciprocals of the rests.
fn by_continued_fractions(a: Ratio, b: Ratio) -> Ordering {
    let (mut a, mut b) = ((a.num, a.den), (b.num, b.den));
    loop {
        let wholes = a.0.div_euclid(a.1).cmp(&b.0.div_euclid(b.1));
        let (rest_a, rest_b) = (a.0.rem_euclid(a.1), b.0.rem_euclid(b.1));
        if wholes != Ordering::Equal || rest_a == 0 || rest_b == 0 {
            return wholes.then((rest_a != 0).cmp(&(rest_b != 0)));
        }
        // a < b exactly when 1/rest of b < 1/rest of a, hence the exchange.
        (a, b) = ((b.1, rest_b), (a.1, rest_a));
    }
}

impl fmt::Display for Ratio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.den == 1 {
            write!(f, "{}", self.num)
        } else {
            write!(f, "{}/{}", self.num, self.den)
        }
    }
}
