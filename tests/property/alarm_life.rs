//! The life of an alarm against the table of IEC 62682, written down here as it stands there: whatever happens to an
//! alarm in whatever order, its state is the one that the table names, and the promises of alarm practice hold.

use dwellwatch::alarm::{Event, State, Step};
use proptest::prelude::*;

/// A row of the standard's table. `None` is any.
struct Row {
    state: State,
    is_active: Option<bool>,
    is_acknowledged: Option<bool>,
    /// What it leaves by, and where to; where the table says "the state the condition now calls for", both.
    leaves_by: &'static [(Event, Leads)],
}

#[derive(Clone, Copy)]
enum Leads {
    To(State),
    ByCondition { active: State, clear: State },
}

use Leads::{ByCondition, To};

const BY_CONDITION: Leads = ByCondition { active: State::Unacknowledged, clear: State::Normal };

/// Its optional rows and ways, latching and calling again while acknowledged, are not taken up. A graver alarm that takes an
/// alarm's place is `dwellwatch`'s own way out. So is that a condition which goes while the alarm is suppressed by design ends
/// it: each alarm here is one coming of its condition, nobody was called, and a state without an end would count it as
/// suppressed for ever; the next coming is an alarm of its own, which what suppresses it then suppresses anew.
const TABLE: [Row; 7] = [
    Row {
        state: State::Normal,
        is_active: Some(false),
        is_acknowledged: Some(true),
        leaves_by: &[
            (Event::Comes, To(State::Unacknowledged)),
            (Event::Shelve, To(State::Shelved)),
            (Event::Suppress, To(State::SuppressedByDesign)),
            (Event::TakeOutOfService, To(State::OutOfService)),
        ],
    },
    Row {
        state: State::Unacknowledged,
        is_active: Some(true),
        is_acknowledged: Some(false),
        leaves_by: &[
            (Event::Acknowledge, To(State::Acknowledged)),
            (Event::Goes, To(State::ReturnedUnacknowledged)),
            (Event::Superseded, To(State::Normal)),
            (Event::Shelve, To(State::Shelved)),
            (Event::Suppress, To(State::SuppressedByDesign)),
            (Event::TakeOutOfService, To(State::OutOfService)),
        ],
    },
    Row {
        state: State::Acknowledged,
        is_active: Some(true),
        is_acknowledged: Some(true),
        leaves_by: &[
            (Event::Goes, To(State::Normal)),
            (Event::Superseded, To(State::Normal)),
            (Event::Shelve, To(State::Shelved)),
            (Event::Suppress, To(State::SuppressedByDesign)),
            (Event::TakeOutOfService, To(State::OutOfService)),
        ],
    },
    Row {
        state: State::ReturnedUnacknowledged,
        is_active: Some(false),
        is_acknowledged: Some(false),
        leaves_by: &[
            (Event::Acknowledge, To(State::Normal)),
            (Event::Comes, To(State::Unacknowledged)),
            (Event::Superseded, To(State::Normal)),
            (Event::Shelve, To(State::Shelved)),
            (Event::Suppress, To(State::SuppressedByDesign)),
            (Event::TakeOutOfService, To(State::OutOfService)),
        ],
    },
    Row {
        state: State::Shelved,
        is_active: None,
        is_acknowledged: None,
        leaves_by: &[(Event::Unshelve, BY_CONDITION), (Event::TakeOutOfService, To(State::OutOfService))],
    },
    Row {
        state: State::SuppressedByDesign,
        is_active: None,
        is_acknowledged: None,
        leaves_by: &[
            (Event::EndSuppression, BY_CONDITION),
            (Event::Goes, To(State::Normal)),
            (Event::Superseded, To(State::Normal)),
        ],
    },
    Row {
        state: State::OutOfService,
        is_active: None,
        is_acknowledged: None,
        leaves_by: &[(Event::ReturnToService, BY_CONDITION)],
    },
];

const EVENTS: [Event; 10] = [
    Event::Comes,
    Event::Goes,
    Event::Superseded,
    Event::Acknowledge,
    Event::Shelve,
    Event::Unshelve,
    Event::TakeOutOfService,
    Event::ReturnToService,
    Event::Suppress,
    Event::EndSuppression,
];

fn row(state: State) -> &'static Row {
    let found = TABLE.iter().find(|row| row.state == state);
    found.unwrap_or_else(|| unreachable!("{state} is not in the table"))
}

/// Whether the condition holds after an event.
fn condition(before: bool, event: Event) -> bool {
    match event {
        Event::Comes => true,
        Event::Goes | Event::Superseded => false,
        _ => before,
    }
}

fn events() -> impl Strategy<Value = Vec<Event>> {
    prop::collection::vec(prop::sample::select(&EVENTS[..]), 0..60)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4096))]

    #[test]
    fn an_alarm_is_where_the_table_says(events in events()) {
        let (mut state, mut is_active) = (State::Normal, false);
        // Whether a person has seen it since it came.
        let mut is_seen = true;
        for event in events {
            let after = condition(is_active, event);
            let way = row(state).leaves_by.iter().find(|(by, _)| *by == event).map(|(_, leads)| *leads);
            let wanted = match way {
                Some(To(to)) => to,
                Some(ByCondition { active, clear }) => if is_active { active } else { clear },
                None => state,
            };
            let step = match state.step(event, is_active) {
                Ok(step) => step,
                Err(refused) => {
                    prop_assert!(way.is_none(), "{state}: {event:?} is refused: {refused}");
                    prop_assert!(refused.to_string().contains(state.word()), "{refused}");
                    continue;
                }
            };
            prop_assert_eq!(step.to, wanted, "{} {:?}", state, event);
            is_seen = match event {
                Event::Acknowledge | Event::Superseded => true,
                // It called nobody, and asks for nobody.
                Event::Goes if state == State::SuppressedByDesign => true,
                // What was held and comes back calls anew, and what is gone needs nobody.
                Event::Unshelve | Event::ReturnToService | Event::EndSuppression => !is_active,
                Event::Comes if !is_active => false,
                _ => is_seen,
            };
            is_active = after;
            let named = row(step.to);
            prop_assert!(named.is_active.is_none_or(|named| named == is_active), "{}: {}", step.to, is_active);
            prop_assert!(named.is_acknowledged.is_none_or(|named| named == is_seen), "{}: {}", step.to, is_seen);
            // Nobody is called by what stays as it was, nor by what nobody is to hear of.
            prop_assert!(!step.tells || step.to != state, "{state} {event:?}");
            prop_assert!(!step.tells || row(step.to).is_active.is_some(), "{state} {event:?}");
            // Whoever is to look is called.
            prop_assert!(step.tells || step.to == state || step.to != State::Unacknowledged, "{state} {event:?}");
            state = step.to;
        }
    }

    #[test]
    fn acknowledging_never_clears_and_clearing_never_acknowledges(events in events()) {
        let (mut state, mut is_active) = (State::Normal, false);
        for event in events {
            let Ok(step) = state.step(event, is_active) else { continue };
            is_active = condition(is_active, event);
            let of = |state: State| (row(state).is_active, row(state).is_acknowledged);
            if event == Event::Acknowledge {
                prop_assert_eq!(of(step.to).0, of(state).0);
            }
            if event == Event::Goes && of(state).1 == Some(false) {
                prop_assert_eq!(of(step.to).1, Some(false), "what came and went unseen stays visible");
            }
            state = step.to;
        }
    }

    #[test]
    fn a_condition_that_is_told_again_and_again_calls_once(before in events(), n in 1..20_usize) {
        let (mut state, mut is_active) = (State::Normal, false);
        for event in before {
            let Ok(step) = state.step(event, is_active) else { continue };
            is_active = condition(is_active, event);
            state = step.to;
        }
        let mut calls = 0;
        for _ in 0..n {
            let Ok(step) = state.step(Event::Comes, is_active) else { unreachable!("a condition is never refused") };
            (state, is_active) = (step.to, true);
            calls += usize::from(step.tells);
        }
        prop_assert!(calls <= 1, "{calls}");
    }

    #[test]
    fn what_is_suppressed_stays_so_until_its_condition_goes_and_ends_quietly(n in 0..20_usize, event in prop::sample::select(&[Event::Goes, Event::Superseded][..])) {
        let Ok(held) = State::Unacknowledged.step(Event::Suppress, true) else { unreachable!("it is refused") };
        for _ in 0..n {
            prop_assert_eq!(held.to.step(Event::Comes, true), Ok(held));
        }
        prop_assert_eq!(held.to.step(event, true), Ok(Step { to: State::Normal, tells: false }));
        prop_assert_eq!(held.to.step(Event::EndSuppression, true), Ok(Step { to: State::Unacknowledged, tells: true }));
    }

    #[test]
    fn what_a_person_holds_is_looked_at_all_the_same_and_every_hold_ends(conditions in prop::collection::vec(any::<bool>(), 0..20)) {
        let holds = [(Event::Shelve, Event::Unshelve), (Event::TakeOutOfService, Event::ReturnToService)];
        for (hold, end) in holds {
            let Ok(held) = State::Unacknowledged.step(hold, true) else { unreachable!("{hold:?} is refused") };
            let (mut state, mut is_active) = (held.to, true);
            for is_now in &conditions {
                let event = if *is_now { Event::Comes } else { Event::Goes };
                let Ok(step) = state.step(event, is_active) else { unreachable!("a condition is never refused") };
                prop_assert!(step.to == held.to && !step.tells);
                (state, is_active) = (step.to, *is_now);
            }
            let Ok(ended) = state.step(end, is_active) else { unreachable!("{end:?} is refused") };
            let wanted = if is_active { (State::Unacknowledged, true) } else { (State::Normal, false) };
            prop_assert_eq!((ended.to, ended.tells), wanted);
        }
    }
}

#[test]
fn the_table_has_each_state_once_and_every_state_is_reached() {
    for state in State::ALL {
        assert_eq!(TABLE.iter().filter(|row| row.state == state).count(), 1, "{state}");
        let leads_here = |row: &Row| {
            row.leaves_by.iter().any(|(_, leads)| match leads {
                To(to) => *to == state,
                ByCondition { active, clear } => [*active, *clear].contains(&state),
            })
        };
        assert!(TABLE.iter().any(leads_here), "{state}");
    }
}
