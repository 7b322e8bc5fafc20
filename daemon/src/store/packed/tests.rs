//! Packing and unpacking: nothing is lost, what is damaged is refused, and old bodies stay readable.

use super::*;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn heater(rng: &mut impl Rng) -> Heater {
    Heater {
        actual: rng.random_bool(0.9).then(|| CentiCelsius::from_hundredths(rng.random_range(-27_315..100_000))),
        target: rng.random_bool(0.9).then(|| CentiCelsius::from_hundredths(rng.random_range(0..3) * 10_500)),
        duty_thousandths: rng.random_bool(0.5).then(|| rng.random_range(0..=1000)),
        fan_thousandths: None,
    }
}

/// A heater whose fan is told that often.
fn with_fan(heater: Heater, often: f64, rng: &mut impl Rng) -> Heater {
    Heater { fan_thousandths: rng.random_bool(often).then(|| rng.random_range(0..=1000)), ..heater }
}

fn readings(seed: u64) -> Vec<Reading> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (n_tools, has_bed) = (rng.random_range(0..4), rng.random_bool(0.5));
    let fans = [0.0, 0.8][rng.random_range(0..2)];
    let mut at = 1_770_000_000_000_i64;
    (0..rng.random_range(1..70))
        .map(|_| {
            at += rng.random_range(1..20_000);
            Reading {
                at: Timestamp::from_ms(at),
                after_gap: rng.random_bool(0.05),
                job: Job {
                    state: JobState::ALL[rng.random_range(0..JobState::ALL.len())],
                    name: rng.random_bool(0.8).then(|| Arc::from(["lantern", "gull"][rng.random_range(0..2)])),
                    fraction_millionths: rng.random_bool(0.8).then(|| rng.random_range(0..=1_000_000)),
                    byte: rng.random_bool(0.5).then(|| rng.random()),
                },
                active_tool: rng.random_bool(0.9).then(|| rng.random_range(0..2)),
                tools: (0..n_tools).map(|_| with_fan(heater(&mut rng), fans, &mut rng)).collect(),
                bed: has_bed.then(|| heater(&mut rng)),
            }
        })
        .collect()
}

/// Readings that tell no fan.
fn plain() -> Vec<Reading> {
    let heater = |hundredths, duty| Heater {
        actual: Some(CentiCelsius::from_hundredths(hundredths)),
        target: Some(CentiCelsius::from_hundredths(21_000)),
        duty_thousandths: duty,
        fan_thousandths: None,
    };
    let reading = |n: u16| Reading {
        at: Timestamp::from_ms(1_770_000_000_000 + 5000 * i64::from(n)),
        after_gap: n == 3,
        job: Job {
            state: JobState::Printing,
            name: Some(Arc::from("lantern.gcode")),
            fraction_millionths: Some(1000 * u32::from(n)),
            byte: None,
        },
        active_tool: Some(usize::from(n / 4)),
        tools: vec![heater(20_990 + i32::from(n % 3), Some(300 + n)), heater(17_000, None)],
        bed: Some(heater(6000, None)),
    };
    (0..8).map(reading).collect()
}

/// `plain`, packed before fans were read.
const BEFORE_FANS: [u8; 122] = [
    40, 181, 47, 253, 36, 210, 109, 3, 0, 82, 133, 18, 29, 192, 53, 99, 27, 55, 185, 12, 192, 197, 249, 255, 87, 175,
    55, 138, 18, 54, 200, 45, 185, 254, 127, 213, 122, 98, 202, 157, 82, 10, 135, 128, 47, 228, 168, 2, 183, 123, 75,
    141, 175, 163, 103, 190, 38, 251, 146, 230, 105, 246, 38, 92, 223, 165, 52, 201, 82, 48, 103, 61, 12, 97, 134, 178,
    188, 21, 133, 210, 128, 105, 240, 110, 163, 53, 13, 0, 74, 135, 162, 225, 13, 169, 100, 32, 212, 25, 50, 197, 100,
    216, 74, 119, 55, 41, 59, 154, 13, 90, 22, 18, 224, 1, 242, 30, 128, 23, 40, 242, 224, 88,
];

/// Compared before they are compressed, which another version of the compressor may do otherwise.
#[test]
fn a_body_from_before_fans_unpacks_and_one_without_a_fan_is_still_the_same() {
    assert_eq!(unpack(&BEFORE_FANS).unwrap(), plain());
    assert_eq!(decompressed(&pack(&plain()).unwrap()).unwrap(), decompressed(&BEFORE_FANS).unwrap());
}

#[test]
fn a_fan_stands_behind_what_was_there_before_and_reads_back() {
    let mut readings = plain();
    readings[5].tools[1].fan_thousandths = Some(1000);
    readings[6].tools[1].fan_thousandths = Some(0);
    let body = pack(&readings).unwrap();
    assert_eq!(unpack(&body).unwrap(), readings);
    let (own, before) = (decompressed(&body).unwrap(), decompressed(&BEFORE_FANS).unwrap());
    assert!(own.starts_with(&before) && own.len() > before.len());
    // One column for two tools, and a byte too many.
    let fans: Fans = vec![Told::pack([None; 8].into_iter())];
    let few = [before.clone(), postcard::to_stdvec(&fans).unwrap()].concat();
    for columns in [few, [own, vec![0]].concat()] {
        assert!(unpack(&zstd::bulk::compress(&columns, 1).unwrap()).is_err());
    }
}

#[test]
fn readings_unpack_as_they_were_packed() {
    for seed in 0..200 {
        let readings = readings(seed);
        assert_eq!(unpack(&pack(&readings).unwrap()).unwrap(), readings, "seed {seed}");
    }
}

#[test]
fn every_flipped_bit_and_every_cut_of_a_body_is_refused() {
    let body = pack(&readings(3)).unwrap();
    let whole = unpack(&body).unwrap();
    for bit in 0..body.len() * 8 {
        let mut flipped = body.clone();
        flipped[bit / 8] ^= 1 << (bit % 8);
        // A bit that carries nothing may flip: what is unpacked is then the same.
        assert!(unpack(&flipped).map_or(true, |readings| readings == whole), "bit {bit}");
    }
    for len in 0..body.len() {
        assert!(unpack(&body[..len]).is_err(), "cut at {len}");
    }
}

#[test]
fn columns_of_other_make_are_refused_and_never_a_panic() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    for _ in 0..2000 {
        let bytes: Vec<u8> = (0..rng.random_range(0..60)).map(|_| rng.random_range(0..8)).collect();
        let body = zstd::bulk::compress(&bytes, 1).unwrap();
        if let Ok(readings) = unpack(&body) {
            assert!(readings.len() <= bytes.len());
        }
    }
}
