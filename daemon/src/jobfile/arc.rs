//! The path along an arc (NISTIR 6556, 3.5.3). Owns the geometry; knows nothing of lines or modes.

use std::f64::consts::TAU;

/// How far the radii at both ends may differ: files are rounded to hundredths or thousandths.
const RADIUS_TOLERANCE_MM: f64 = 0.05;
const RADIUS_TOLERANCE_SHARE: f64 = 0.001;
/// Ends that are nearer than that are one point: sums of relative places are off by less.
const SAME_PLACE_MM: f64 = 1e-6;

/// The plane in which it turns: its two axes, right-handed, and the one across.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Plane {
    /// G17.
    Xy,
    /// G18.
    Zx,
    /// G19.
    Yz,
}

/// How its circle is told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Circle {
    /// The centre, from the beginning on, along X, Y and Z.
    Centre([f64; 3]),
    /// The radius; below zero is the longer way round.
    Radius(f64),
}

/// Length and directions of a path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Path {
    pub(super) length: f64,
    pub(super) enters: [f64; 3],
    pub(super) leaves: [f64; 3],
}

impl Path {
    /// The straight way; all zeros where there is none.
    #[inline]
    pub(super) fn straight([from_x, from_y, from_z]: [f64; 3], [to_x, to_y, to_z]: [f64; 3]) -> Self {
        let (x, y, z) = (to_x - from_x, to_y - from_y, to_z - from_z);
        let length = (x * x + y * y + z * z).sqrt();
        let inverse = if length > 0.0 { 1.0 / length } else { 0.0 };
        let ahead = [x * inverse, y * inverse, z * inverse];
        Self { length, enters: ahead, leaves: ahead }
    }

    /// The way along an arc or helix; `None` if no circle fits.
    pub(super) fn along(
        from: [f64; 3],
        to: [f64; 3],
        plane: Plane,
        is_clockwise: bool,
        circle: Circle,
    ) -> Option<Self> {
        let ([x0, y0, across0], [x1, y1, across1]) = (plane.turned(from), plane.turned(to));
        let (chord_x, chord_y) = (x1 - x0, y1 - y0);
        let is_round = chord_x.hypot(chord_y) < SAME_PLACE_MM;
        let (x, y) = match circle {
            Circle::Centre(offset) => {
                let [x, y, _] = plane.turned(offset);
                (x, y)
            }
            Circle::Radius(_) if is_round => return None,
            Circle::Radius(radius) => centre(chord_x, chord_y, radius, is_clockwise)?,
        };
        // From the centre to both ends.
        let (begin, end) = ([-x, -y], [chord_x - x, chord_y - y]);
        let (r0, r1) = (x.hypot(y), (chord_x - x).hypot(chord_y - y));
        if r0.min(r1) < SAME_PLACE_MM || (r0 - r1).abs() > tolerance(r0) {
            return None;
        }
        let turn = angle(end) - angle(begin);
        let turn = (if is_clockwise { -turn } else { turn }).rem_euclid(TAU);
        let turn = if is_round || turn <= 0.0 { TAU } else { turn };
        let (flat, rise) = (turn * f64::midpoint(r0, r1), across1 - across0);
        let length = flat.hypot(rise);
        let hand = if is_clockwise { -1.0 } else { 1.0 };
        let ahead = |[x, y]: [f64; 2], radius: f64| {
            let share = hand * flat / (radius * length);
            plane.turned_back([-y * share, x * share, rise / length])
        };
        Some(Self { length, enters: ahead(begin, r0), leaves: ahead(end, r1) })
    }
}

impl Plane {
    fn turned(self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        match self {
            Self::Xy => [x, y, z],
            Self::Zx => [z, x, y],
            Self::Yz => [y, z, x],
        }
    }

    fn turned_back(self, [a, b, c]: [f64; 3]) -> [f64; 3] {
        match self {
            Self::Xy => [a, b, c],
            Self::Zx => [b, c, a],
            Self::Yz => [c, a, b],
        }
    }
}

fn angle([x, y]: [f64; 2]) -> f64 {
    y.atan2(x)
}

fn tolerance(radius: f64) -> f64 {
    RADIUS_TOLERANCE_MM.max(radius * RADIUS_TOLERANCE_SHARE)
}

/// The centre, from the beginning on, of the circle of that radius through both ends of the chord.
fn centre(chord_x: f64, chord_y: f64, radius: f64, is_clockwise: bool) -> Option<(f64, f64)> {
    let half = chord_x.hypot(chord_y) / 2.0;
    let beyond = radius.abs() - half;
    if beyond < -tolerance(radius.abs()) {
        return None;
    }
    let height = (beyond.max(0.0) * (radius.abs() + half)).sqrt();
    // It lies left of the chord, unless clockwise or the longer way round.
    let hand = if is_clockwise == (radius < 0.0) { 1.0 } else { -1.0 };
    let side = hand * height / (2.0 * half);
    Some((chord_x / 2.0 - chord_y * side, chord_y / 2.0 + chord_x * side))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::{Circle, Path, Plane};
    use std::f64::consts::{PI, TAU};

    fn arc(to: [f64; 3], plane: Plane, is_clockwise: bool, circle: Circle) -> Path {
        Path::along([10.0, 0.0, 0.0], to, plane, is_clockwise, circle).unwrap()
    }

    fn near(found: &Path, length: f64, enters: [f64; 3], leaves: [f64; 3]) {
        let gap = |a: [f64; 3], b: [f64; 3]| a.iter().zip(b).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        let gap = gap(found.enters, enters).max(gap(found.leaves, leaves)).max((found.length - length).abs());
        assert!(gap < 1e-9, "{found:?}, wanted {length} {enters:?} {leaves:?}");
    }

    #[test]
    fn a_quarter_of_a_circle_is_as_by_hand() {
        let (up, left) = ([0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]);
        let centre = Circle::Centre([-10.0, 0.0, 0.0]);
        for circle in [centre, Circle::Radius(10.0)] {
            near(&arc([0.0, 10.0, 0.0], Plane::Xy, false, circle), 15.707_963_267_948_966, up, left);
        }
        for circle in [centre, Circle::Radius(-10.0)] {
            // Clockwise about the same centre is the other three quarters; by a radius it needs the longer way.
            let (down, right) = ([0.0, -1.0, 0.0], [1.0, 0.0, 0.0]);
            near(&arc([0.0, 10.0, 0.0], Plane::Xy, true, circle), 15.0 * PI, down, right);
        }
    }

    #[test]
    fn a_circle_comes_back_and_a_helix_rises() {
        let centre = Circle::Centre([-10.0, 0.0, 0.0]);
        near(&arc([10.0, 0.0, 0.0], Plane::Xy, false, centre), 20.0 * PI, [0.0, 1.0, 0.0], [0.0, 1.0, 0.0]);
        let (flat, length) = (10.0 * TAU, (10.0 * TAU).hypot(30.0));
        let ahead = [0.0, flat / length, 30.0 / length];
        near(&arc([10.0, 0.0, 30.0], Plane::Xy, false, centre), length, ahead, ahead);
    }

    #[test]
    fn other_planes_turn_as_seen_from_the_end_of_the_axis_across() {
        // From X+ to Z+ against Y's right hand is clockwise seen from Y+: Z comes before X.
        let found = arc([0.0, 0.0, 10.0], Plane::Zx, true, Circle::Centre([-10.0, 0.0, 0.0]));
        near(&found, 5.0 * PI, [0.0, 0.0, 1.0], [-1.0, 0.0, 0.0]);
        let found = Path::along([0.0, 5.0, 0.0], [0.0, 0.0, 5.0], Plane::Yz, false, Circle::Radius(5.0)).unwrap();
        near(&found, 2.5 * PI, [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]);
    }

    #[test]
    fn ends_on_two_circles_are_no_arc_unless_by_a_rounding() {
        let to = |y| Path::along([10.0, 0.0, 0.0], [0.0, y, 0.0], Plane::Xy, false, Circle::Centre([-10.0, 0.0, 0.0]));
        assert!(to(10.04).is_some() && to(10.06).is_none());
        let by_radius = |r| Path::along([10.0, 0.0, 0.0], [-10.0, 0.0, 0.0], Plane::Xy, false, Circle::Radius(r));
        assert!(by_radius(9.96).is_some() && by_radius(9.9).is_none());
        if let Some(half) = by_radius(9.99) {
            assert!((half.length - 10.0 * PI).abs() < 0.1, "{half:?}");
        }
        assert!(Path::along([0.0; 3], [0.0; 3], Plane::Xy, false, Circle::Radius(5.0)).is_none());
        assert!(Path::along([0.0; 3], [1.0, 0.0, 0.0], Plane::Xy, false, Circle::Centre([0.0; 3])).is_none());
    }
}
