//! A density of two coordinates as weights on a grid that lies where the density is. Owns how the grid is placed; what
//! the density means is the caller's.
//!
//! The sums are those of the midpoint rule, which for a smooth density that falls to nothing at the grid's edges errs
//! less than any power of the step.

/// Nodes each way.
const NODES: usize = 56;
/// How often the grid is drawn closer at most: each time by a factor of up to 15.
const ROUNDS: usize = 12;
/// What lies further under the highest ln density than this is left out: 5.5 standard deviations of a normal law.
const DEPTH: f64 = 15.0;
/// A box that shrinks by less than this is where it belongs.
const SETTLED: f64 = 0.9;

/// An interval of one coordinate.
pub(super) type Side = (f64, f64);

/// The grid, its weights adding up to one.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    /// Nodes of the first coordinate.
    pub(super) first: Vec<f64>,
    /// Nodes of the second.
    pub(super) second: Vec<f64>,
    /// One row a node of the first coordinate.
    pub(super) weights: Vec<Vec<f64>>,
}

impl Grid {
    /// The grid of a density within a box. `row` gives ln of the density at one first coordinate and all the second
    /// ones, but for a constant.
    pub(super) fn settle(sides: [Side; 2], row: impl Fn(f64, &[f64]) -> Vec<f64>) -> Self {
        let mut sides = sides;
        let mut grid = Self::on(sides, &row);
        for _ in 0..ROUNDS {
            let closer = [grid.reach(&grid.first, true), grid.reach(&grid.second, false)];
            let is_settled = closer.iter().zip(&sides).all(|(new, old)| new.1 - new.0 > SETTLED * (old.1 - old.0));
            if is_settled {
                break;
            }
            sides = closer;
            grid = Self::on(sides, &row);
        }
        grid.normalise();
        grid
    }

    /// Unnormalised: ln of the density, the highest being nought.
    fn on(sides: [Side; 2], row: &impl Fn(f64, &[f64]) -> Vec<f64>) -> Self {
        let [first, second] = sides.map(nodes);
        let mut weights: Vec<Vec<f64>> = first.iter().map(|node| row(*node, &second)).collect();
        let highest = weights.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max);
        weights.iter_mut().flatten().for_each(|ln| *ln -= highest);
        Self { first, second, weights }
    }

    /// The stretch of a coordinate in which the density is not nothing, and a node more at either end.
    fn reach(&self, nodes: &[f64], is_first: bool) -> Side {
        let step = nodes[1] - nodes[0];
        let is_there = |idx: &usize| {
            let cell = |at: usize| if is_first { self.weights[*idx][at] } else { self.weights[at][*idx] };
            (0..NODES).any(|at| cell(at) > -DEPTH)
        };
        let low = (0..NODES).find(is_there).unwrap_or(0);
        let high = (0..NODES).rev().find(is_there).unwrap_or(NODES - 1);
        (nodes[low] - 1.5 * step, nodes[high] + 1.5 * step)
    }

    fn normalise(&mut self) {
        self.weights.iter_mut().flatten().for_each(|ln| *ln = ln.exp());
        let sum: f64 = self.weights.iter().flatten().sum();
        self.weights.iter_mut().flatten().for_each(|weight| *weight /= sum);
    }

    /// The weights of the first coordinate alone.
    pub(super) fn of_first(&self) -> Vec<f64> {
        self.weights.iter().map(|row| row.iter().sum()).collect()
    }

    /// The weights of the second coordinate alone.
    pub(super) fn of_second(&self) -> Vec<f64> {
        (0..NODES).map(|at| self.weights.iter().map(|row| row[at]).sum()).collect()
    }
}

/// The middles of equal cells.
fn nodes((low, high): Side) -> Vec<f64> {
    let step = (high - low) / crate::estimate::count(NODES);
    (0..NODES).map(|at| low + step * (crate::estimate::count(at) + 0.5)).collect()
}

/// Mean and variance of weighted nodes.
pub(super) fn moments(nodes: &[f64], weights: &[f64]) -> (f64, f64) {
    let mean: f64 = nodes.iter().zip(weights).map(|(node, weight)| node * weight).sum();
    let variance = nodes.iter().zip(weights).map(|(node, weight)| weight * (node - mean).powi(2)).sum();
    (mean, variance)
}

/// The value under which this share of the weight lies. Within a cell the density is taken for a line that leans as
/// the neighbours do, `1 + lean (s - 1/2)` at `s` from 0 to 1, so that the share there is a quadratic's root.
pub(super) fn quantile(nodes: &[f64], weights: &[f64], share: f64) -> f64 {
    let step = nodes[1] - nodes[0];
    let mut under = 0.0;
    for (idx, (node, weight)) in nodes.iter().zip(weights).enumerate() {
        if under + weight >= share && *weight > 0.0 {
            let neighbour = |at: Option<usize>| at.and_then(|at| weights.get(at)).copied().unwrap_or(*weight);
            let rise = neighbour(Some(idx + 1)) - neighbour(idx.checked_sub(1));
            let (lean, part) = ((0.5 * rise / weight).clamp(-2.0, 2.0), (share - under) / weight);
            let linear = 1.0 - 0.5 * lean;
            let within = 2.0 * part / (linear + (linear * linear + 2.0 * lean * part).max(0.0).sqrt());
            return node + step * (within - 0.5);
        }
        under += weight;
    }
    nodes[NODES - 1] + 0.5 * step
}

/// The share of the weight under a value.
pub(super) fn share_under(nodes: &[f64], weights: &[f64], value: f64) -> f64 {
    let step = nodes[1] - nodes[0];
    let part = |node: &f64| ((value - node) / step + 0.5).clamp(0.0, 1.0);
    nodes.iter().zip(weights).map(|(node, weight)| weight * part(node)).sum()
}
