//! How many materials or tools a host speaks of, whatever it has of heaters. Must not: look at temperatures.

use super::leaf::Leaf;
use super::words;

/// The tools of a shared hot end: two in, one out.
pub(super) const SHARED_TOOLS: usize = 2;

/// Words for what goes into a hot end.
const INLET: &[&str] =
    &["material", "filament", "spool", "feeder", "inlet", "feed", "drive", "load", "strand", "tool", "extruder"];

/// How many materials or tools the host has a list or keys for.
pub(super) fn inlets(leaves: &[Leaf]) -> usize {
    let mut most = 0;
    for leaf in leaves {
        for (depth, step) in leaf.steps.iter().enumerate() {
            if !words::any(&step.words, INLET) || depth + 1 >= leaf.steps.len() {
                continue;
            }
            let above = &leaf.steps[..=depth];
            let mut items: Vec<&super::leaf::Step> = leaves
                .iter()
                .filter(|other| {
                    other.document == leaf.document && other.steps.len() > depth + 1 && other.steps.starts_with(above)
                })
                .map(|other| &other.steps[depth + 1])
                .filter(|step| is_item(step))
                .collect();
            items.sort_by_key(|step| format!("{step:?}"));
            items.dedup();
            most = most.max(items.len());
        }
    }
    if most > SHARED_TOOLS * 2 { counted(leaves).unwrap_or(0) } else { most.max(counted(leaves).unwrap_or(0)) }
}

/// How many tools the host says that there are: `tools: 2`, `tool count: 2`.
fn counted(leaves: &[Leaf]) -> Option<usize> {
    const COUNT: &[&str] =
        &["count", "number", "total", "of", "installed", "fitted", "how", "many", "num", "n", "amount"];
    let of = |leaf: &Leaf| {
        let series =
            leaf.series.as_ref().filter(|series| series.is_still() && series.is_whole() && !series.has_fraction)?;
        let own = leaf.own();
        let is_plural = own.iter().any(|word| word.ends_with('s') && words::is_one(word, INLET));
        let is_counted = words::any(own, INLET) && words::any(own, COUNT);
        let is_plain = own.iter().all(|word| words::is_one(word, INLET) || words::is_one(word, COUNT));
        let count =
            (1..=SHARED_TOOLS * 2).find(|count| !super::series::differ(super::writing::count(*count), series.max()))?;
        (is_plain && (is_plural || is_counted)).then_some(count)
    };
    leaves.iter().find_map(of)
}

fn is_item(step: &super::leaf::Step) -> bool {
    use super::leaf::Way;
    match &step.way {
        Way::Index(_) | Way::Named(..) => true,
        Way::Last => false,
        Way::Key(_) => {
            step.words.iter().any(|word| word.parse::<u8>().is_ok() || words::side(word).is_some() || word.len() == 1)
        }
    }
}
