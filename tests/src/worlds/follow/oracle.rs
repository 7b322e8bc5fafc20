//! Whoever knows the law advises: the settings, of all that such a person ever tries, by which it strikes least.
//! Must not: set what nobody tries.

use crate::worlds::catalogue::{Family, World};
use crate::worlds::exposure::Exposure;
use crate::worlds::person::{Material, STANDBYS};
use serde_json::{Value, json};

/// What `advise --json` would print if it knew the law, asked of these runs.
#[must_use]
pub fn answer_of_the_law(world: &World, runs: &[Exposure]) -> String {
    let mut answer = Vec::new();
    for tool in 0..2 {
        for material in Material::ALL {
            let one = |(setting, to)| suggestion(tool, material, setting, &to);
            answer.extend(best(world, material, runs).into_iter().map(one));
        }
    }
    Value::Array(answer).to_string()
}

/// Settings of this material, whatever the tool, and what to set them to. Nothing of what changes nothing.
fn best(world: &World, material: Material, runs: &[Exposure]) -> Vec<(&'static str, Value)> {
    let law = world.law;
    let mut best = Vec::new();
    // Under every law less heat is never worse, and the coolest wait after the coolest work is the least heat.
    if matches!(world.family, Family::IdleHeat | Family::Liner) {
        best.push(("standby_c", json!(STANDBYS[0])));
        best.push(("print_c", json!(material.coolest_c())));
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

fn suggestion(tool: usize, material: Material, setting: &str, to: &Value) -> Value {
    let none = json!({"mean": 0.0, "low": 0.0, "high": 0.0});
    json!({"id": format!("bench-t{tool}-{}-{setting}", material.name()), "printer": "bench", "tool": tool,
        "material": material.name(), "modes": [], "setting": setting, "from": null, "to": to, "risk_now": none,
        "risk_after": none, "sure": 1.0, "minutes_per_print": none, "basis": "learned", "why": "It is the law."})
}
