//! Whoever knows the law advises: the settings, of all that such a person ever tries, by which it strikes least.
//! Must not: set what nobody tries.

use crate::worlds::catalogue::World;
use crate::worlds::exposure::Exposure;
use crate::worlds::person::{Material, STANDBYS};
use crate::worlds::truth::Law;
use serde_json::{Value, json};

/// What `advise --json` would print if it knew the law, asked of these runs.
#[must_use]
pub fn answer_of_the_law(world: &World, runs: &[Exposure]) -> String {
    let mut answer = Vec::new();
    for tool in 0..2 {
        for material in Material::ALL {
            let one = |(setting, to)| suggestion(tool, material, setting, &to);
            answer.extend(best(world, runs).into_iter().map(one));
        }
    }
    Value::Array(answer).to_string()
}

/// Settings and what to set them to. Nothing of what changes nothing.
fn best(world: &World, runs: &[Exposure]) -> Vec<(&'static str, Value)> {
    let law = world.law;
    // Under every law less heat is never worse, and the coolest wait is the least heat.
    let mut best = Vec::new();
    if feels_heat(law) {
        best.push(("standby_c", json!(STANDBYS[0])));
    }
    let sum = |change: &dyn Fn(&mut Exposure)| -> f64 {
        let changed = |run: &Exposure| {
            let mut run = *run;
            change(&mut run);
            law.share(&run)
        };
        runs.iter().map(changed).sum()
    };
    let tried = world.habits.retractions_mm();
    let with_mm: Vec<f64> = tried.iter().map(|mm| sum(&|run| run.settings.retract_mm = *mm)).collect();
    let least = (0..tried.len()).min_by(|a, b| with_mm[*a].total_cmp(&with_mm[*b])).unwrap();
    let as_it_was = sum(&|_| ());
    if with_mm[least] < as_it_was {
        best.push(("retract_mm", json!(tried[least])));
    }
    if sum(&|run| run.settings.dried = true) < as_it_was {
        best.push(("dried", json!(true)));
    }
    if sum(&|run| (run.liner_h, run.liner_weighted_h) = (0.0, 0.0)) < as_it_was {
        best.push(("part:liner", json!("new")));
    }
    best
}

fn feels_heat(law: Law) -> bool {
    match law {
        Law::HotMinutes | Law::SaturatingWarmth | Law::WarmthProduct => true,
        Law::LinerSteep | Law::LinerStep | Law::LinerHinge => true,
        Law::LongStep | Law::LongRamp | Law::LongTimesRestarts => false,
        Law::ShortHinge | Law::ShortStep | Law::ShortTimesWet | Law::Nothing | Law::Petg => false,
    }
}

fn suggestion(tool: usize, material: Material, setting: &str, to: &Value) -> Value {
    let none = json!({"mean": 0.0, "low": 0.0, "high": 0.0});
    json!({"id": format!("bench-t{tool}-{}-{setting}", material.name()), "printer": "bench", "tool": tool,
        "material": material.name(), "modes": [], "setting": setting, "from": null, "to": to, "risk_now": none,
        "risk_after": none, "sure": 1.0, "minutes_per_print": none, "basis": "learned", "why": "It is the law."})
}
