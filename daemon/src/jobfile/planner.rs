//! Acts → acts and how long each lasts. Owns speeds: each move is a trapezoid of speed (a triangle where its speed is
//! not reached), and at a corner the velocity changes by no more than the machine takes.
//!
//! A move may enter at a speed only if what follows can still stop. That is known as far as the moves that wait here:
//! they are planned in blocks, and the first half of a block is let go.

use super::act::{Act, Move, Patience, What};
use super::limits::MotionLimits;
use dwell_analysis::units::Seconds;

/// Moves that are planned together. Half of them, 32 short moves ahead, are enough to stop from any speed in use at
/// corners; where they are not, a move is taken to end slower than it need.
const BLOCK: usize = 64;

/// Speed of a move before the file has told any, mm/s (common practice, no source).
const SPEED_UNTOLD: f64 = 20.0;

/// Slower is no move, mm/s: a file that asks for it is stuck on any machine.
const SPEED_MIN: f64 = 0.1;

/// Plans the motion of one job.
#[derive(Debug)]
pub(super) struct Planner {
    limits: MotionLimits,
    queue: Vec<Planned>,
    /// Moves among the queue.
    n_moves: usize,
    /// The square of the speed at which the first of the queue is entered, mm2/s2.
    entered: f64,
    /// The last move's direction at its end and the square of its speed; `None` at rest.
    before: Option<([f64; 3], f64)>,
}

#[derive(Clone, Copy, Debug)]
struct Planned {
    act: Act,
    /// `None` is an act that takes no time and stops nothing.
    travel: Option<Travel>,
}

/// Speeds are held as squares, mm2/s2: along a uniformly accelerated way it is the square that grows evenly.
#[derive(Clone, Copy, Debug)]
struct Travel {
    length: f64,
    speed: f64,
    /// At most what the corner before it takes.
    corner: f64,
    /// At most that, and what lets it stop in time, as far as is planned.
    entry: f64,
}

impl Planner {
    pub(super) const fn new(limits: MotionLimits) -> Self {
        Self { limits, queue: Vec::new(), n_moves: 0, entered: 0.0, before: None }
    }

    /// Takes an act; lets go those whose time is known, in order.
    pub(super) fn take(&mut self, act: Act, done: &mut impl FnMut(Act, Seconds)) {
        match act.what {
            What::Move(motion) => {
                let travel = self.travel(&motion);
                self.queue.push(Planned { act, travel: Some(travel) });
                self.n_moves += 1;
                if self.n_moves >= BLOCK {
                    self.let_go(BLOCK / 2, done);
                }
            }
            What::Fan(_) | What::Heat { patience: Patience::None, .. } => {
                self.queue.push(Planned { act, travel: None });
                // A file of such acts alone must not pile up.
                if self.queue.len() >= 4 * BLOCK {
                    self.flush(done);
                }
            }
            What::Dwell(lasts) => {
                self.flush(done);
                done(act, lasts);
            }
            What::Retract { length: Some(length), speed: Some(speed) } => self.draw(act, length, speed, done),
            What::Recover { length, extra, speed: Some(speed) } => {
                self.draw(act, length.unwrap_or(0.0) + extra.unwrap_or(0.0), speed, done);
            }
            What::Heat { .. }
            | What::Retract { .. }
            | What::Recover { .. }
            | What::Home
            | What::NoTool
            | What::Tool(_)
            | What::Pause
            | What::End => {
                self.flush(done);
                done(act, Seconds::ZERO);
            }
        }
    }

    /// The machine draws filament back or brings it forward by itself, from rest to rest.
    fn draw(&mut self, act: Act, length: f64, speed: f64, done: &mut impl FnMut(Act, Seconds)) {
        self.flush(done);
        let speed = speed.max(SPEED_MIN);
        let travel = Travel { length: length.max(0.0), speed: speed * speed, corner: 0.0, entry: 0.0 };
        done(act, travel.lasts(0.0, 0.0, self.limits.acceleration));
    }

    /// Comes to rest, and lets everything go.
    pub(super) fn flush(&mut self, done: &mut impl FnMut(Act, Seconds)) {
        self.let_go(usize::MAX, done);
        self.before = None;
        self.entered = 0.0;
    }

    fn travel(&mut self, motion: &Move) -> Travel {
        let is_filament_alone = motion.length <= 0.0;
        let length = if is_filament_alone { motion.filament.abs() } else { motion.length };
        let asked = if motion.speed > 0.0 { motion.speed.max(SPEED_MIN) } else { SPEED_UNTOLD };
        let speed = self.limits.speed_max.filter(|_| !is_filament_alone).map_or(asked, |most| asked.min(most));
        let speed = speed * speed;
        let corner = self.before.map_or(0.0, |(leaves, before)| {
            let turn: f64 = leaves.iter().zip(motion.enters).map(|(out, into)| (into - out) * (into - out)).sum();
            let corner = if turn < 1e-12 { f64::INFINITY } else { self.limits.corner * self.limits.corner / turn };
            corner.min(before).min(speed)
        });
        // The filament's drive starts and ends at rest.
        let corner = if is_filament_alone { 0.0 } else { corner };
        self.before = (!is_filament_alone).then_some((motion.leaves, speed));
        Travel { length, speed, corner, entry: corner }
    }

    /// Plans all that waits to come to rest at its end, and lets `n` moves go with what stands among them.
    fn let_go(&mut self, n: usize, done: &mut impl FnMut(Act, Seconds)) {
        let twice = 2.0 * self.limits.acceleration;
        let mut leaves = 0.0_f64;
        for travel in self.queue.iter_mut().rev().filter_map(|planned| planned.travel.as_mut()) {
            travel.entry = travel.corner.min(leaves + twice * travel.length);
            leaves = travel.entry;
        }
        let mut entered = self.entered;
        let mut gone = 0;
        let mut n_gone = 0;
        while let Some(planned) = self.queue.get(gone) {
            let Some(travel) = planned.travel else {
                done(planned.act, Seconds::ZERO);
                gone += 1;
                continue;
            };
            if n_gone == n {
                break;
            }
            let after = self.queue.get(gone + 1..).unwrap_or_default();
            let next = after.iter().find_map(|planned| planned.travel).map_or(0.0, |travel| travel.entry);
            let left = next.min(entered + twice * travel.length);
            done(planned.act, travel.lasts(entered, left, self.limits.acceleration));
            entered = left;
            gone += 1;
            n_gone += 1;
        }
        self.queue.drain(..gone);
        self.n_moves = self.n_moves.saturating_sub(n_gone);
        self.entered = entered;
    }
}

impl Travel {
    /// Time of a way that is entered and left at the speeds whose squares these are.
    fn lasts(&self, entered: f64, left: f64, acceleration: f64) -> Seconds {
        let (entry, exit) = (entered.sqrt(), left.sqrt());
        let ramps = (2.0 * self.speed - entered - left) / (2.0 * acceleration);
        let seconds = if ramps <= self.length {
            let speed = self.speed.sqrt();
            (2.0 * speed - entry - exit) / acceleration + (self.length - ramps) / speed
        } else {
            let peak = f64::midpoint(2.0 * acceleration * self.length, entered + left).sqrt();
            (2.0 * peak - entry - exit) / acceleration
        };
        // Rounding may leave a way of no length a hair below nothing.
        Seconds::new(seconds.max(0.0))
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may stop")]
mod tests {
    use super::*;

    fn line(length: f64, direction: [f64; 3], speed: f64) -> Act {
        let to = direction.map(|along| along * length);
        let motion = Move { from: [0.0; 3], to, length, enters: direction, leaves: direction, filament: 0.0, speed };
        Act { byte: 0, what: What::Move(motion) }
    }

    fn times(limits: MotionLimits, acts: &[Act]) -> Vec<f64> {
        let (mut planner, mut times) = (Planner::new(limits), Vec::new());
        for act in acts {
            planner.take(*act, &mut |_, lasted| times.push(lasted.get()));
        }
        planner.flush(&mut |_, lasted| times.push(lasted.get()));
        times
    }

    const X: [f64; 3] = [1.0, 0.0, 0.0];
    const Y: [f64; 3] = [0.0, 1.0, 0.0];
    const LIMITS: MotionLimits = MotionLimits { acceleration: 1500.0, corner: 8.0, speed_max: None };

    /// By hand from the equations of uniformly accelerated motion (v = u + at, v2 = u2 + 2as), as any mechanics
    /// textbook has them. Trapezoid: 100 mm at 20 mm/s; two ramps of 20/1500 s and 20²/3000 mm, the rest at 20 mm/s:
    /// 0.0266667 + (100 - 0.2666667)/20 = 5.0133333 s. Triangle: 1 mm at 100 mm/s is never that fast: twice 0.5 mm from
    /// rest, 2 sqrt(2 · 0.5/1500) = 0.0516398 s. Just reaching its speed: 20²/1500 mm takes 2 · 20/1500 s.
    #[test]
    fn one_move_takes_the_time_of_a_trapezoid_or_of_a_triangle() {
        let cases = [(100.0, 20.0, 5.013_333_3), (1.0, 100.0, 0.051_639_8), (400.0 / 1500.0, 20.0, 40.0 / 1500.0)];
        for (length, speed, seconds) in cases {
            let time = times(LIMITS, &[line(length, X, speed)])[0];
            assert!((time - seconds).abs() < 1e-6, "{length} mm at {speed} mm/s: {time}, by hand {seconds}");
        }
    }

    /// Two legs of 50 mm at 20 mm/s with a right angle between: there the velocity changes by v sqrt 2, so v = 8/sqrt 2 =
    /// 5.656854 mm/s (v2 = 32). Each leg: 20/1500 + (20 - 5.656854)/1500 s of ramps over 400/3000 + 368/3000 mm, the
    /// rest at 20 mm/s: 0.0228954 + (50 - 0.256)/20 = 2.5100954 s.
    #[test]
    fn corner_is_taken_at_the_speed_that_changes_the_velocity_by_no_more_than_the_limit() {
        let legs = times(LIMITS, &[line(50.0, X, 20.0), line(50.0, Y, 20.0)]);
        assert!(legs.iter().all(|time| (time - 2.510_095_4).abs() < 1e-6), "{legs:?}");
        let stops = MotionLimits { corner: 0.0, ..LIMITS };
        let legs = times(stops, &[line(50.0, X, 20.0), line(50.0, Y, 20.0)]);
        assert!(legs.iter().all(|time| (time - (2.5 + 20.0 / 1500.0)).abs() < 1e-9), "{legs:?}");
    }

    #[test]
    fn way_in_many_pieces_takes_as_long_as_in_one() {
        let whole = times(LIMITS, &[line(300.0, X, 60.0)])[0];
        let pieces: f64 = times(LIMITS, &vec![line(1.0, X, 60.0); 300]).iter().sum();
        assert!((whole - pieces).abs() < 1e-6, "{whole} against {pieces}");
        let slower = MotionLimits { speed_max: Some(30.0), ..LIMITS };
        assert!((times(slower, &[line(300.0, X, 60.0)])[0] - (10.0 + 30.0 / 1500.0)).abs() < 1e-9);
    }

    #[test]
    fn what_stops_the_machine_stands_between_two_rests_and_order_is_kept() {
        let dwell = Act { byte: 7, what: What::Dwell(Seconds::new(2.0)) };
        let fan = Act { byte: 8, what: What::Fan(1.0) };
        let acts = [line(50.0, X, 20.0), fan, line(50.0, X, 20.0), dwell, line(50.0, X, 20.0)];
        let (mut planner, mut seen) = (Planner::new(LIMITS), Vec::new());
        for act in acts {
            planner.take(act, &mut |act, lasted| seen.push((act, lasted.get())));
        }
        planner.flush(&mut |act, lasted| seen.push((act, lasted.get())));
        assert_eq!(seen.iter().map(|(act, _)| *act).collect::<Vec<_>>(), acts);
        let alone = times(LIMITS, &[line(50.0, X, 20.0)])[0];
        assert!((seen.last().unwrap().1 - alone).abs() < 1e-12 && (seen[3].1 - 2.0).abs() < 1e-12);
        assert!(
            (seen[0].1 + seen[2].1 - times(LIMITS, &[line(100.0, X, 20.0)])[0]).abs() < 1e-9,
            "the fan stops nothing"
        );
    }
}
