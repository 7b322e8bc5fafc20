//! The number after a letter: a sign, digits, one point at most; blanks within it mean nothing, and there is no
//! exponent (NISTIR 6556, 3.3.2.1). Owns that the value is the nearest double to what is written.

use super::fault::LineFault;

/// Beyond this no machine's figure lies; it keeps sums of places finite.
const VALUE_MAX: f64 = 1e9;

/// Whole numbers up to this and the powers of ten up to 10^22 are doubles themselves, so one division of the two is the
/// nearest double (Clinger, How to Read Floating Point Numbers Accurately, 1990).
const EXACT_MAX: u64 = 1 << 53;
const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20,
    1e21, 1e22,
];

/// So many digits never overflow 64 bits.
const DIGITS_MAX: u32 = 19;

/// Whether it means nothing outside of a comment.
pub(super) const fn is_blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t')
}

/// The text without the blanks at its beginning.
pub(super) fn skip_blanks(mut text: &[u8]) -> &[u8] {
    while let Some((&byte, tail)) = text.split_first() {
        if !is_blank(byte) {
            break;
        }
        text = tail;
    }
    text
}

/// Reads the number at the beginning; gives it and what comes after it.
#[inline]
pub(super) fn number(text: &[u8]) -> Result<(f64, &[u8]), LineFault> {
    let (is_negative, body) = sign(text);
    let (mut rest, mut mantissa) = (body, 0_u64);
    let (mut n_digits, mut n_decimals, mut point) = (0_u32, 0_u32, 0_u32);
    while let Some((&byte, tail)) = rest.split_first() {
        let digit = byte.wrapping_sub(b'0');
        if digit < 10 {
            mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
            n_digits += 1;
            n_decimals += point;
        } else if byte == b'.' {
            if point > 0 {
                return Err(LineFault::TwoPoints);
            }
            point = 1;
        } else if !is_blank(byte) {
            break;
        }
        rest = tail;
    }
    if n_digits == 0 {
        return Err(LineFault::NoDigit);
    }
    let value = match power(n_decimals) {
        Some(power) if n_digits <= DIGITS_MAX && mantissa <= EXACT_MAX => exact(mantissa) / power,
        _ => long(body.get(..body.len() - rest.len()).unwrap_or_default())?,
    };
    let value = if is_negative { -value } else { value };
    if value.abs() > VALUE_MAX { Err(LineFault::OutOfRange) } else { Ok((value, rest)) }
}

#[inline]
fn sign(text: &[u8]) -> (bool, &[u8]) {
    match text.split_first() {
        Some((byte, _)) if byte.is_ascii_digit() => (false, text),
        _ => match skip_blanks(text).split_first() {
            Some((b'-', rest)) => (true, rest),
            Some((b'+', rest)) => (false, rest),
            _ => (false, text),
        },
    }
}

fn power(n_decimals: u32) -> Option<f64> {
    POWERS.get(usize::try_from(n_decimals).ok()?).copied()
}

#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "not above 2^53, so a double itself")]
const fn exact(mantissa: u64) -> f64 {
    mantissa as f64
}

/// More digits than a double holds. A line is bounded, and so is this.
#[cold]
fn long(text: &[u8]) -> Result<f64, LineFault> {
    let digits: String = text.iter().filter(|byte| !is_blank(**byte)).map(|byte| char::from(*byte)).collect();
    digits.parse().map_err(|_| LineFault::NoDigit)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may stop")]
mod tests {
    use super::number;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    #[test]
    fn it_is_bit_for_bit_what_the_standard_library_reads() {
        let mut rng = ChaCha8Rng::seed_from_u64(6556);
        for _ in 0..200_000 {
            let n_whole = rng.random_range(0..10);
            let n_decimals = rng.random_range(usize::from(n_whole == 0)..30);
            let mut digits = |n: usize| (0..n).map(|_| char::from(rng.random_range(b'0'..=b'9'))).collect::<String>();
            let (whole, decimals) = (digits(n_whole), digits(n_decimals));
            let sign = ["", "-", "+"][n_decimals % 3];
            let text = format!("{sign}{whole}.{decimals}");
            let (value, rest) = number(text.as_bytes()).unwrap();
            assert_eq!(value.to_bits(), text.parse::<f64>().unwrap().to_bits(), "{text}");
            assert!(rest.is_empty());
        }
    }

    #[test]
    fn hard_to_round_numbers_are_rounded_to_even() {
        // Half way between two doubles, and just beyond it.
        let half = "1.00000000000000011102230246251565404236316680908203125";
        for text in
            ["9007199.254740993", half, &format!("{half}1"), &format!("{half}{}1", "0".repeat(900)), "-0", "0.1"]
        {
            let (value, _) = number(text.as_bytes()).unwrap();
            assert_eq!(value.to_bits(), text.parse::<f64>().unwrap().to_bits(), "{text}");
        }
    }
}
