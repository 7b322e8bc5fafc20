//! Links as they are made and read again, and what no one can make.

use super::*;

const AT: Timestamp = Timestamp::from_ms(1_772_438_400_123);

fn links(secret: u8, record: &str) -> Links {
    Links::new("https://bench.example/", LinkKey::new(&[secret; 32], record.to_owned()))
}

fn alarm(printer: Option<&str>, tool: Option<usize>) -> AlarmKey {
    let subject = Subject { rule: Rule::IdleHot, tool: tool.and_then(ToolNumber::new) };
    AlarmKey { printer: printer.map(|name| PrinterName::new(name).unwrap()), subject, raised: AT }
}

fn token(address: &str) -> &str {
    address.strip_prefix("https://bench.example/alarms/link/").unwrap()
}

#[test]
fn a_link_is_read_as_it_was_made_whatever_the_printer_is_called() {
    let links = links(7, "0123456789abcdef");
    let until = AT + LINK_LASTS;
    for printer in [None, Some("bench"), Some("bench two "), Some("gull. 3|ü%/?#")] {
        for tool in [None, Some(0), Some(15)] {
            let alarm = alarm(printer, tool);
            let made = [links.acknowledge(&alarm, until), links.shelve(&alarm, 60, until)];
            let acts = [LinkAct::Acknowledge, LinkAct::Shelve { minutes: 60 }];
            for (address, act) in made.iter().zip(acts) {
                let letters = |letter: u8| letter.is_ascii_alphanumeric() || b"-_.".contains(&letter);
                assert!(token(address).bytes().all(letters), "{address}");
                let read = links.read(token(address), AT);
                assert_eq!(read, Ok(Link { act, alarm: alarm.clone(), until }));
            }
        }
    }
}

#[test]
fn the_list_of_alarms_has_an_address_on_this_machine_alone() {
    let page = |base: &str| Links::new(base, LinkKey::new(&[7; 32], "one".to_owned())).page();
    for base in ["http://localhost:7870", "http://127.0.0.1:7870", "http://[::1]:7870"] {
        assert_eq!(page(&format!("{base}/")), Some(format!("{base}/alarms")));
    }
    for base in ["https://bench.example", "http://192.168.1.4:7870", "https://localhost.example", "bench"] {
        assert_eq!(page(base), None, "{base}");
    }
}

#[test]
fn every_try_of_a_message_has_the_same_link() {
    let made = || links(7, "one").acknowledge(&alarm(Some("bench"), Some(1)), AT);
    assert_eq!(made(), made());
}

#[test]
fn no_changed_letter_no_other_key_and_no_other_record_passes() {
    let links_here = links(7, "one");
    let address = links_here.shelve(&alarm(Some("bench"), Some(1)), 60, AT + LINK_LASTS);
    let token = token(&address);
    assert!(links_here.read(token, AT).is_ok());
    for idx in 0..token.len() {
        let mut letters = token.as_bytes().to_vec();
        letters[idx] = if letters[idx] == b'A' { b'B' } else { b'A' };
        let changed = String::from_utf8(letters).unwrap();
        assert_eq!(links_here.read(&changed, AT), Err(LinkFault::Forged), "letter {idx}");
    }
    for cut in ["", ".", &token[..token.len() - 1], token.split('.').next().unwrap(), &"A".repeat(10_000)] {
        assert_eq!(links_here.read(cut, AT), Err(LinkFault::Forged));
    }
    assert_eq!(links(8, "one").read(token, AT), Err(LinkFault::Forged));
    assert_eq!(links(7, "two").read(token, AT), Err(LinkFault::Forged));
}

#[test]
fn a_link_ends_at_its_instant() {
    let links = links(7, "one");
    let until = AT + LINK_LASTS;
    let address = links.acknowledge(&alarm(Some("bench"), Some(1)), until);
    let before = Timestamp::from_ms(until.as_ms() - 1);
    assert!(links.read(token(&address), before).is_ok());
    assert_eq!(links.read(token(&address), until), Err(LinkFault::Expired));
}

#[test]
fn a_key_is_never_shown() {
    let shown = format!("{:?}", links(b'k', "one"));
    assert!(!shown.contains("kkk") && !shown.contains("107") && shown.contains("one"), "{shown}");
}
