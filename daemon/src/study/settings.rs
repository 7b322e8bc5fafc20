//! A tool's settings in a print: what was typed in, what its job file asks for, which counts over it, and the set point
//! at which it waited. Owns which of the first two is shown and that both are where they differ.

use crate::entry::{PrinterName, Settings, ToolNumber};
use crate::store::{PrintRow, Reader, SpanFilter, StoreError};
use crate::tracker::Context;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_dashboards::view::{SETTINGS, Setting, SettingsView, ToolSettings};

/// Set points closer than this are one: hosts round them.
const ONE_SET_POINT: f64 = 0.5;

/// A printer's settings as typed in and in force at an instant, one entry a tool.
///
/// # Errors
/// If the record can't be read.
pub fn typed_at(
    reader: &Reader,
    printer: &PrinterName,
    at: Timestamp,
    n_tools: usize,
) -> Result<Vec<Settings>, StoreError> {
    let mut held = vec![Settings::default(); n_tools];
    for row in reader.settings_changes(printer)? {
        let change = row.change;
        if let Some(settings) = held.get_mut(change.tool.idx()).filter(|_| change.at <= at) {
            settings.update(&change.settings);
        }
    }
    Ok(held)
}

/// How long ago a setting may have been changed to be told with what it was before.
const CHANGED_LATELY: Seconds = Seconds::new(14.0 * 86_400.0);

/// A tool's settings as typed in and in force at an instant, and how they came to be.
#[derive(Clone, Debug, Default)]
pub struct Typed {
    /// What was in force.
    pub settings: Settings,
    /// Since when each is as it is, in the order in which pages show them.
    pub since: [Option<Timestamp>; SETTINGS],
    /// What was typed in before, of those that changed within two weeks before the instant.
    pub before: Settings,
}

/// The same as [`typed_at`], with how it came to be.
///
/// # Errors
/// If the record can't be read.
pub fn typed_history(
    reader: &Reader,
    printer: &PrinterName,
    at: Timestamp,
    n_tools: usize,
) -> Result<Vec<Typed>, StoreError> {
    let mut tools = vec![Typed::default(); n_tools];
    for row in reader.settings_changes(printer)? {
        let change = row.change;
        if let Some(typed) = tools.get_mut(change.tool.idx()).filter(|_| change.at <= at) {
            typed.take(&change.settings, change.at, at - change.at <= CHANGED_LATELY);
        }
    }
    Ok(tools)
}

impl Typed {
    fn take(&mut self, newer: &Settings, at: Timestamp, is_late: bool) {
        fn one<T: Clone + PartialEq>(
            newer: Option<&T>,
            (held, before, since): (&mut Option<T>, &mut Option<T>, &mut Option<Timestamp>),
            (at, is_late): (Timestamp, bool),
        ) {
            let Some(newer) = newer.filter(|newer| held.as_ref() != Some(*newer)) else { return };
            *before = held.replace(newer.clone()).filter(|_| is_late);
            *since = Some(at);
        }
        let Self { settings: held, since, before } = self;
        let [material, print, standby, retract, speed, prime, shield, dried] = since;
        let when = (at, is_late);
        one(newer.material.as_ref(), (&mut held.material, &mut before.material, material), when);
        one(newer.print.as_ref(), (&mut held.print, &mut before.print, print), when);
        one(newer.standby.as_ref(), (&mut held.standby, &mut before.standby, standby), when);
        one(newer.retract.as_ref(), (&mut held.retract, &mut before.retract, retract), when);
        one(newer.retract_mm_s.as_ref(), (&mut held.retract_mm_s, &mut before.retract_mm_s, speed), when);
        one(newer.prime.as_ref(), (&mut held.prime, &mut before.prime, prime), when);
        one(newer.ooze_shield.as_ref(), (&mut held.ooze_shield, &mut before.ooze_shield, shield), when);
        one(newer.dried.as_ref(), (&mut held.dried, &mut before.dried, dried), when);
    }
}

/// The set point that was in force longest while a tool waited in a print; `None` if none was told.
///
/// # Errors
/// If the record can't be read.
pub(super) fn waiting_set_point(
    reader: &Reader,
    printer: &PrinterName,
    tool: ToolNumber,
    print: i64,
) -> Result<Option<Celsius>, StoreError> {
    let filter = SpanFilter { printer: Some(printer.clone()), print: Some(print), ..SpanFilter::default() };
    let mut held: Vec<(Celsius, Seconds)> = Vec::new();
    for span in reader.spans(&filter)? {
        let is_own = span.tool == tool && span.context == Context::InPrint;
        let Some((target, idle)) = span.target.zip(span.idle).filter(|_| is_own) else { continue };
        match held.iter_mut().find(|(one, _)| (*one - target).get().abs() < ONE_SET_POINT) {
            Some((_, lasted)) => *lasted += idle,
            None => held.push((target, idle)),
        }
    }
    Ok(held.into_iter().max_by(|a, b| a.1.get().total_cmp(&b.1.get())).map(|(target, _)| target))
}

/// What is shown of a tool's settings; `file` is what the print's job file asks for.
#[must_use]
pub fn settings_view(typed: &Settings, file: Option<&Settings>) -> SettingsView {
    let none = Settings::default();
    let file = file.unwrap_or(&none);
    SettingsView {
        material: typed.material.as_deref().map(str::to_owned),
        print: setting(typed.print, file.print),
        standby: setting(typed.standby, file.standby),
        retract: setting(typed.retract, file.retract),
        retract_mm_s: setting(typed.retract_mm_s, file.retract_mm_s),
        prime: setting(typed.prime, file.prime),
        ooze_shield: typed.ooze_shield,
        dried: typed.dried,
    }
}

/// What each tool was set to in its newest of these prints, which are in time order; by printer, T0 first.
///
/// # Errors
/// If the record can't be read.
pub(super) fn newest_settings(reader: &Reader, prints: &[PrintRow]) -> Result<Vec<ToolSettings>, StoreError> {
    let mut rows: Vec<ToolSettings> = Vec::new();
    for print in prints.iter().rev() {
        let file = reader.job_file(print.id)?.filter(|row| row.dropped.is_none());
        for tool in &print.tools {
            let number = tool.tool.idx();
            let n_files = u32::from(file.is_some());
            let is_same = |row: &&mut ToolSettings| row.tool == number && row.printer == print.printer.as_str();
            if let Some(row) = rows.iter_mut().find(is_same) {
                row.n += 1;
                row.n_files += n_files;
                continue;
            }
            let typed = typed_at(reader, &print.printer, print.started, number + 1)?;
            let asked = file.as_ref().and_then(|row| row.file.settings(tool.tool));
            rows.push(ToolSettings {
                printer: print.printer.to_string(),
                tool: number,
                print: print.id,
                name: print.name.clone(),
                settings: settings_view(&typed[number], asked),
                n: 1,
                n_files,
            });
        }
    }
    rows.sort_by(|a, b| (&a.printer, a.tool).cmp(&(&b.printer, b.tool)));
    Ok(rows)
}

fn setting<T: Copy + PartialEq>(typed: Option<T>, file: Option<T>) -> Option<Setting<T>> {
    match file {
        Some(value) => Some(Setting::JobFile { value, typed: typed.filter(|typed| *typed != value) }),
        None => typed.map(Setting::Typed),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn job_file_counts_over_what_was_typed_in_and_both_are_told_where_they_differ() {
        let at = |degrees| Some(Celsius::new(degrees));
        let typed = Settings { print: at(210.0), standby: at(170.0), ..Settings::default() };
        let file = Settings { print: at(210.0), standby: at(175.0), ..Settings::default() };
        let shown = settings_view(&typed, Some(&file));
        assert_eq!(shown.print, Some(Setting::JobFile { value: Celsius::new(210.0), typed: None }));
        assert_eq!(shown.standby, Some(Setting::JobFile { value: Celsius::new(175.0), typed: at(170.0) }));
        assert_eq!(settings_view(&typed, None).standby, Some(Setting::Typed(Celsius::new(170.0))));
        assert_eq!(settings_view(&Settings::default(), None).standby, None);
    }

    #[test]
    fn a_setting_tells_since_when_it_is_so_and_what_it_was_before_if_that_was_lately() {
        let day = |day: i64| Timestamp::from_ms(day * 86_400_000);
        let standby = |degrees| Settings { standby: Some(Celsius::new(degrees)), ..Settings::default() };
        let mut typed = Typed::default();
        let now = day(40);
        for (at, degrees) in [(1, 170.0), (10, 160.0), (35, 160.0)] {
            typed.take(&standby(degrees), day(at), now - day(at) <= CHANGED_LATELY);
        }
        // Said again it is as it was; and what changed a month ago is no news.
        assert_eq!((typed.since[2], typed.before.standby), (Some(day(10)), None));
        typed.take(&standby(150.0), day(38), true);
        assert_eq!((typed.since[2], typed.before.standby), (Some(day(38)), Some(Celsius::new(160.0))));
        assert_eq!((typed.since[0], typed.settings.standby), (None, Some(Celsius::new(150.0))));
    }
}
