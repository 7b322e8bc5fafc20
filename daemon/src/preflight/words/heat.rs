//! Sentences on heat.

use super::super::finding::{Counted, Path, Place, SHORT_WAIT, WorstWait};
use super::{Words, at, clock, of, whole, words};
use dwell_analysis::thermal::AMBIENT;
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};
use dwell_analysis::wear::LINER_PRACTICE;
use dwell_dashboards::format;

pub(super) fn cold_push(counted: Counted, first: Place, has_macros: bool) -> Words {
    let beyond = if has_macros { ", unless a macro that it calls sets one" } else { "" };
    words(
        format!(
            "At {} first pushes of filament the file has set no temperature for it{beyond}; the first is at {}.",
            of(counted),
            at(first)
        ),
        "Pushed cold, filament is ground by the drive and the nozzle jams.",
        "Set its temperature and wait for it before the first push.",
    )
}

pub(super) fn cold_restart(
    counted: Counted,
    worst: Place,
    [expected, target, floor]: [Celsius; 3],
    raised_ahead: Option<Seconds>,
) -> Words {
    let raised = raised_ahead.map_or_else(
        || "no command raised it for that".to_owned(),
        |ahead| format!("it was raised only {} before", format::duration(ahead)),
    );
    let action = if target < floor {
        format!(
            "Set it to at least {}, if the maker of the filament allows it, and no higher than the liner stands.",
            whole(floor)
        )
    } else {
        format!("Wait for {} before the push, raise it earlier, or let it cool less meanwhile.", whole(target))
    };
    words(
        format!(
            "Its filament is pushed too cold at {} first pushes: at worst {} is expected where {} is set, {}; {raised}.",
            of(counted),
            whole(expected),
            whole(target),
            at(worst)
        ),
        format!(
            "Under {} its melt hardly moves and further under its set point it starves: the drive slips or grinds, and \
             the nozzle may jam.",
            whole(floor)
        ),
        action,
    )
}

pub(super) fn over_liner(set: Celsius, rating: Celsius, is_assumed: bool) -> Words {
    let whose = if is_assumed {
        format!("the {} that a PTFE liner stands (general reference; nobody told what liner it has)", whole(rating))
    } else {
        format!("its liner's rating of {}", whole(rating))
    };
    words(
        format!("The file sets up to {}, over {whose}.", whole(set)),
        "The liner softens, swells and grips the filament; overheated PTFE gives off harmful fumes.",
        format!("Stay under {}, or fit a hot end without such a liner.", whole(rating)),
    )
}

pub(super) fn near_liner(set: Celsius, rating: Celsius) -> Words {
    words(
        format!("The file sets up to {}; the liner stands {}.", whole(set), whole(rating)),
        format!("Over {} a PTFE liner wears faster (common practice, no source).", whole(LINER_PRACTICE)),
        "Look at the liner more often, or print cooler where the material allows it.",
    )
}

pub(super) fn residence(dose: DoseMinutes, limit: DoseMinutes, worst: Option<WorstWait>, is_over: bool) -> Words {
    let where_ = worst.map(|wait| {
        let mean = wait.mean.map(|mean| format!(" at {} in the mean", whole(mean))).unwrap_or_default();
        format!(", at the end of a wait of {}{mean}, from {} on", format::duration_fine(wait.lasts), clock(wait.at))
    });
    let cause = format!(
        "Its melt is expected to come to {}, {} of the material's residence limit{}.",
        format::dose(dose),
        format::share(dose, limit),
        where_.unwrap_or_default()
    );
    let action = "Lower its standby for long waits, or flush it well before it goes to the part.";
    if is_over {
        words(cause, "What it pushes next is spent: it may be brown, weak, or clog the nozzle.", action)
    } else {
        words(cause, "A print that is held up, or slower than expected, may use up the rest.", action)
    }
}

pub(super) fn no_standby(counted: Counted, paths: &[Path], longest: Seconds) -> Words {
    let each = paths.iter().map(|path| format!("{} → {}: {}", path.from, path.to, of(path.counted)));
    let by = match paths {
        [] => String::new(),
        [only] if only.counted.n == counted.n => format!(" to {}", only.to),
        _ => format!(" ({})", each.collect::<Vec<_>>().join(", ")),
    };
    let cause = format!("It is left at its print temperature at {} changes{by}.", of(counted));
    if longest < SHORT_WAIT {
        return words(
            cause,
            format!("These waits are short, {} at the longest, so it ages little.", format::duration_fine(longest)),
            "A lower set point would hardly take effect in that time.",
        );
    }
    words(
        cause,
        format!(
            "It then waits up to {} at full heat, where its melt ages fastest and oozes.",
            format::duration_fine(longest)
        ),
        "Set a standby after its last push, and raise it in time before the next.",
    )
}

pub(super) fn deep_standby(lowest: Celsius, first_flow: Celsius, glass: Celsius, reheat: Option<Seconds>) -> Words {
    let set = if lowest < AMBIENT { "switched off".to_owned() } else { format!("set to {}", whole(lowest)) };
    let state = if lowest < glass {
        format!("under {} it is solid", whole(glass))
    } else {
        format!("under {} it does not flow", whole(first_flow))
    };
    let reheat = reheat.map(|time| format!("; back to printing takes about {} from there", format::duration(time)));
    words(
        format!("While it waits it is {set}."),
        format!("That spares the melt, but {state}{}.", reheat.unwrap_or_default()),
        "Mind that the reheat is waited for before the first push.",
    )
}

pub(super) fn late_reheat(counted: Counted, total: Seconds, longest: Seconds, worst: Place) -> Words {
    words(
        format!(
            "The job stands still for its heat at {} returns to it, {} in all; at the longest {}, {}.",
            of(counted),
            format::duration_fine(total),
            format::duration_fine(longest),
            at(worst)
        ),
        "The print takes that much longer, and a nozzle that stands over the part oozes and leaves a scar.",
        format!("Raise the set point up to {} earlier, and no higher than now.", format::duration_fine(longest)),
    )
}

pub(super) fn hot_after_last(at: Seconds, lasts: Seconds, target: Celsius) -> Words {
    words(
        format!(
            "After its last use, from {} on, it stays set to {} for {}.",
            clock(at),
            whole(target),
            format::duration(lasts)
        ),
        "Its melt cooks and oozes for nothing.",
        "Switch its heater off after its last use.",
    )
}

pub(super) fn hot_before_first(at: Seconds, lasts: Seconds, target: Celsius) -> Words {
    words(
        format!(
            "Before its first use, from {} on, it is set to {} for {}.",
            clock(at),
            whole(target),
            format::duration(lasts)
        ),
        "Its melt cooks and oozes before it prints at all.",
        "Heat it up shortly before its first use.",
    )
}

pub(super) fn heated_unused(set: Celsius) -> Words {
    words(
        format!("It is set to {} and never called to work.", whole(set)),
        "Its melt cooks and oozes onto the part.",
        "Leave it off in this job.",
    )
}
