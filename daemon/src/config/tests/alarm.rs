//! The alarm rules of a configuration: what reaches which rule, and what each mistake is told.

use super::{SMALL, fault, parse};
use crate::alarm::{Bound, Priority, Rule, Tuning};
use crate::entry::PrinterName;
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};

fn with(lines: &str) -> String {
    format!("[[alarm.rule]]\n{lines}\n{SMALL}")
}

#[test]
fn each_key_of_a_rule_reaches_its_tuning_and_the_rest_stays_usual() {
    let text = with(
        "rule = \"idle_hot\"\nprinter = \"bench\"\nmaterial = \"PETG\"\npriority = \"low\"\non_delay_s = 1200\noff_delay_s = 30\n\
         over_c = 225\ndeadband_k = 5\n[[alarm.rule]]\nrule = \"residence_warn\"\nshare = 0.5\ndeadband_share = 0.2\n\
         [[alarm.rule]]\nrule = \"heat_lost\"\noff_by_k = 8",
    );
    let config = parse(&text).unwrap();
    let rules = config.rules().of(&PrinterName::new("bench").unwrap());
    let over = Bound::Over { at: Some(Celsius::new(225.0)), deadband: CelsiusDelta::new(5.0) };
    let (on_delay, off_delay) = (Seconds::new(1200.0), Seconds::new(30.0));
    let told = Tuning { priority: Priority::Low, on_delay, off_delay, bound: over };
    assert_eq!(rules.tuning(Rule::IdleHot, Some("PETG")), told);
    assert_eq!(rules.tuning(Rule::IdleHot, Some("PLA")), Tuning::usual(Rule::IdleHot));
    let warn = Tuning { bound: Bound::Share { at: 0.5, deadband: 0.2 }, ..Tuning::usual(Rule::ResidenceWarn) };
    assert_eq!(rules.tuning(Rule::ResidenceWarn, None), warn);
    let by = Bound::OffBy { by: CelsiusDelta::new(8.0), deadband: CelsiusDelta::new(3.0) };
    assert_eq!(rules.tuning(Rule::HeatLost, None).bound, by);
    let other = PrinterName::new("attic").unwrap();
    assert_eq!(config.rules().of(&other).tuning(Rule::IdleHot, Some("PETG")), Tuning::usual(Rule::IdleHot));
}

#[test]
fn the_short_way_and_a_rule_of_its_own_add_up_key_by_key() {
    let text = format!(
        "[alarm]\nidle_over_c = 190\nidle_for_min = 5\n[[alarm.rule]]\nrule = \"idle_hot\"\non_delay_s = 60\n{SMALL}"
    );
    let idle_hot = parse(&text).unwrap().rules().tuning(Rule::IdleHot, None);
    let over = Bound::Over { at: Some(Celsius::new(190.0)), deadband: CelsiusDelta::new(3.0) };
    assert_eq!((idle_hot.bound, idle_hot.on_delay), (over, Seconds::new(60.0)));
}

#[test]
fn liners_and_printers_that_are_being_set_up_reach_the_rules() {
    let bench = PrinterName::new("bench").unwrap();
    let text = SMALL.replace("name = \"bench\"", "name = \"bench\"\ncommissioning = true");
    let rules = parse(&format!("{text}liner_max_c = 285\n")).unwrap().rules().of(&bench);
    assert_eq!((rules.is_commissioning(), rules.liner_max(0)), (true, Some(Celsius::new(285.0))));
    let rules = parse(SMALL).unwrap().rules().of(&bench);
    assert_eq!((rules.is_commissioning(), rules.liner_max(0)), (false, None));
    assert_eq!(fault(&text.replace("= true", "= \"yes\"")).key, "printer[0].commissioning");
}

/// A rule's lines, the key that the fault names, and pieces of what it says.
const MISTAKES: &[(&str, &str, &[&str])] = &[
    ("rule = \"idle\"", "rule", &["found \"idle\"", "residence_note", "sign_in_failures"]),
    ("priority = \"low\"", "", &["missing field `rule`"]),
    (
        "rule = \"idle_hot\"",
        "",
        &["nothing is said of idle_hot", "priority, on_delay_s, off_delay_s, over_c, deadband_k"],
    ),
    ("rule = \"idle_hot\"\nover = 190", "over", &["unknown field `over`"]),
    ("rule = \"idle_hot\"\npriority = \"urgent\"", "priority", &["found \"urgent\"", "\"low\", \"medium\", \"high\""]),
    ("rule = \"idle_hot\"\nover_c = 39", "over_c", &["found 39; right would be 40 to 500 °C"]),
    ("rule = \"idle_hot\"\nover_c = nan", "over_c", &["40 to 500 °C"]),
    ("rule = \"idle_hot\"\ndeadband_k = 51", "deadband_k", &["found 51; right would be 0 to 50 K"]),
    ("rule = \"idle_hot\"\non_delay_s = -1", "on_delay_s", &["found -1; right would be 0 to 86400 s"]),
    ("rule = \"idle_hot\"\noff_delay_s = 86401", "off_delay_s", &["0 to 86400 s"]),
    (
        "rule = \"idle_hot\"\nshare = 0.5",
        "share",
        &["idle_hot has no use for share", "one of priority, on_delay_s, off_delay_s, over_c, deadband_k"],
    ),
    ("rule = \"heat_lost\"\noff_by_k = 0.4", "off_by_k", &["found 0.4; right would be 0.5 to 100 K"]),
    ("rule = \"heat_lost\"\nover_c = 200", "over_c", &["heat_lost has no use for over_c", "off_by_k, deadband_k"]),
    ("rule = \"residence_note\"\nshare = 0", "share", &["found 0; right would be 0.01 to 10"]),
    ("rule = \"residence_note\"\ndeadband_share = 1", "deadband_share", &["found 1; right would be 0 to 0.9"]),
    (
        "rule = \"residence_note\"\ndeadband_k = 1",
        "deadband_k",
        &["has no use for deadband_k", "share, deadband_share"],
    ),
    (
        "rule = \"paused_hot\"\nover_c = 200",
        "over_c",
        &["paused_hot has no use for over_c", "one of priority, on_delay_s, off_delay_s"],
    ),
    (
        "rule = \"record_damaged\"\non_delay_s = 5",
        "on_delay_s",
        &["record_damaged waits for nothing", "one of priority"],
    ),
    (
        "rule = \"part_due\"\nmaterial = \"PLA\"\non_delay_s = 5",
        "material",
        &["part_due does not ask what a tool holds"],
    ),
    (
        "rule = \"idle_hot\"\nprinter = \"attic\"\nover_c = 200",
        "printer",
        &["found \"attic\"", "the name of a printer: \"bench\""],
    ),
    (
        "rule = \"disk_low\"\nprinter = \"bench\"\npriority = \"low\"",
        "printer",
        &["not about a printer", "no printer here"],
    ),
    (
        "rule = \"bed_lost\"\nmaterial = \"PLA\"\noff_by_k = 5",
        "material",
        &["bed_lost does not ask what a tool holds", "no material here"],
    ),
    (
        "rule = \"idle_hot\"\nmaterial = \" \"\nover_c = 200",
        "material",
        &["found an empty text", "a material such as \"PETG\""],
    ),
    (
        "rule = \"idle_hot\"\nmaterial = \"PTEG\"\nover_c = 200",
        "material",
        &["found \"PTEG\"", "a material that is known: ", "\"PETG\""],
    ),
    (
        "rule = \"residence_note\"\nshare = 0.5",
        "share",
        &["found 0.5, for every printer", "under residence_warn's 0.42"],
    ),
    ("rule = \"residence_warn\"\nshare = 1", "share", &["found 1", "under residence_budget's 1.00"]),
    ("rule = \"residence_budget\"\nshare = 0.4", "share", &["found 0.4", "over residence_warn's 0.42"]),
];

#[test]
fn two_rules_of_one_thing_are_a_mistake_and_of_two_things_none() {
    let rule = |more: &str| format!("rule = \"idle_hot\"\nover_c = 200\n{more}\n");
    let both = |one: &str, other: &str| with(&format!("{}[[alarm.rule]]\n{}", rule(one), rule(other)));
    for (one, other) in
        [("", ""), ("material = \"PETG\"", "material = \"petg \""), ("printer = \"bench\"", "printer = \"bench\"")]
    {
        let fault = fault(&both(one, other));
        assert!(fault.key == "alarm.rule[1]" && fault.to_string().contains("as in alarm.rule[0] too"), "{fault}");
    }
    for (one, other) in
        [("", "material = \"PETG\""), ("material = \"PLA\"", "material = \"PETG\""), ("", "printer = \"bench\"")]
    {
        parse(&both(one, other)).unwrap();
    }
}

#[test]
fn shares_of_the_ladder_rise_wherever_two_rules_meet() {
    let rules = |warn: &str| {
        let note = "rule = \"residence_note\"\nprinter = \"bench\"\nshare = 0.6\n[[alarm.rule]]\n";
        with(&format!(
            "{note}rule = \"residence_warn\"\nprinter = \"bench\"\nshare = 0.7\n[[alarm.rule]]\n\
             rule = \"residence_warn\"\nprinter = \"bench\"\nmaterial = \"PLA\"\nshare = {warn}"
        ))
    };
    parse(&rules("0.65")).unwrap();
    let fault = fault(&rules("0.5"));
    assert_eq!(fault.key, "alarm.rule[2].share");
    assert!(fault.to_string().contains("over residence_note's 0.60"), "{fault}");
}

#[test]
fn a_material_of_a_section_or_of_a_tool_s_settings_is_known() {
    let rule = with("rule = \"idle_hot\"\nmaterial = \"gull grey\"\nover_c = 200");
    assert_eq!(fault(&rule).key, "alarm.rule[0].material");
    parse(&format!("{rule}[printer.tool.settings]\nmaterial = \"Gull Grey\"\n")).unwrap();
    parse(&format!("{rule}[material.\"Gull grey\"]\nlike = \"PLA\"\n")).unwrap();
}

#[test]
fn each_mistake_in_a_rule_names_its_key_and_what_would_be_right() {
    for (lines, key, pieces) in MISTAKES {
        let fault = fault(&with(lines));
        let place = if key.is_empty() { "alarm.rule[0]".to_owned() } else { format!("alarm.rule[0].{key}") };
        assert!(fault.key == place || fault.key == "alarm.rule" && key.is_empty(), "{lines}: {fault}");
        assert!(pieces.iter().all(|piece| fault.to_string().contains(piece)), "{lines}: {fault}");
        assert!(fault.place.is_some(), "{lines}: {fault}");
    }
}
