//! Cases from the standard's own text, and rules that they leave out.
#![expect(clippy::unwrap_used, clippy::indexing_slicing, clippy::string_slice, reason = "a test may stop")]

use super::Words;
use crate::jobfile::LineFault;
use crate::jobfile::lines::Line;
use crate::jobfile::parameters::Parameters;
use serde_json::Value;

fn read(text: &str, parameters: &Parameters) -> Words {
    let mut words = Words::default();
    words.read(Line { byte: 0, bytes: text.as_bytes(), is_cut: false }, parameters);
    words
}

fn faults(text: &str) -> Vec<LineFault> {
    read(text, &Parameters::default()).faults.iter().collect()
}

/// Every word, by letter; codes of one letter in order.
fn all(words: &Words) -> Vec<(char, f64)> {
    let codes =
        |letter, tenths: &[u32]| tenths.iter().map(|code| (letter, f64::from(*code) / 10.0)).collect::<Vec<_>>();
    let values = (b'A'..=b'Z').filter_map(|letter| Some((char::from(letter), words.value(letter)?)));
    let mut all = [codes('G', words.g()), codes('M', words.m()), values.collect()].concat();
    all.sort_by_key(|(letter, _)| *letter);
    all
}

fn expected_words(told: &Value) -> Vec<(char, f64)> {
    let word = |word: &Value| {
        // The one value that is a parameter's: #3, which is 15 before that line.
        let value = if word[1] == "#3" { 15.0 } else { word[1].as_f64().unwrap() };
        (word[0].as_str().unwrap().chars().next().unwrap(), value)
    };
    let mut words: Vec<_> = told.as_array().unwrap().iter().map(word).collect();
    words.sort_by_key(|(letter, _)| *letter);
    words
}

/// The fault that a case's words mean. Three of them leave clear what the line says, so it is read all the same: a long
/// line, a line number of more digits (files of a hundred thousand lines have them) and a comment that is left open.
fn expected_fault(error: &str) -> LineFault {
    match error {
        "line longer than 256 characters" => LineFault::TooLong,
        "line number has more than five digits" | "line number out of range" => LineFault::LineNumberDigits,
        "signed line number" | "line number not at its place" => LineFault::LineNumber,
        "comment not closed on its line" => LineFault::CommentOpen,
        "nested comment" => LineFault::CommentNested,
        "number without a digit" => LineFault::NoDigit,
        "two decimal points" => LineFault::TwoPoints,
        "letter repeated" => LineFault::LetterTwice,
        "two words of modal group 1" | "two words of modal group 3" => LineFault::CodesClash,
        "more than four M words" => LineFault::TooManyM,
        "parameter index outside 1..5399" => LineFault::Parameter,
        "negative tool number" => LineFault::NegativeTool,
        other => unreachable!("{other}"),
    }
}

/// The standard against the trade: where a case has both (`strict_error`), the trade's reading counts.
#[test]
fn every_case_of_the_standard_is_met() {
    let told: Value = serde_json::from_str(include_str!("../../../../tests/reference/gcode_cases.json")).unwrap();
    let mut parameters = Parameters::default();
    parameters.set(&[(3, 15.0)]);
    for case in told["cases"].as_array().unwrap() {
        let (line, expect) = (case["line"].as_str().unwrap(), &case["expect"]);
        let words = read(line, &parameters);
        if let Some(error) = expect["error"].as_str() {
            assert!(words.faults.has(expected_fault(error)), "{line}: {:?}", words.faults);
            continue;
        }
        let is_fit = expect["checksum_ok"].as_bool() != Some(false);
        assert_eq!(words.faults.is_none(), is_fit, "{line}: {:?}", words.faults.iter().collect::<Vec<_>>());
        assert_eq!(words.faults.has(LineFault::Checksum), !is_fit, "{line}");
        if expect.get("words").is_some() {
            assert_eq!(all(&words), expected_words(&expect["words"]), "{line}");
        }
        assert_eq!(words.checksum.map(u64::from), expect["checksum"].as_u64(), "{line}");
        assert_eq!(words.line_number, expect["line_number"].as_u64(), "{line}");
        assert_eq!(words.is_block_delete, expect["block_delete"] == true, "{line}");
        assert_eq!(words.is_delimiter, expect["program_delimiter"] == true, "{line}");
        let settings: Vec<(usize, f64)> = serde_json::from_value(expect["settings"].clone()).unwrap_or_default();
        assert_eq!(words.settings, settings, "{line}");
    }
}

#[test]
fn a_setting_is_in_force_from_the_next_line_on_and_the_last_of_one_line_counts() {
    let mut parameters = Parameters::default();
    for (line, x) in
        [("#3 = 15 #3 = 6", None), ("#3=7 G1 x#3", Some(6.0)), ("#8=3 X# 3", Some(7.0)), ("X##8", Some(7.0))]
    {
        let words = read(line, &parameters);
        assert!(words.faults.is_none(), "{line}");
        assert_eq!(words.value(b'X'), x, "{line}");
        parameters.set(&words.settings);
    }
}

#[test]
fn a_name_at_the_beginning_is_a_macro_and_the_rest_is_not_read() {
    for line in ["PURGE_LINE X[1+2] (", "  purge_line*", "N7 PURGE_line=2"] {
        let words = read(line, &Parameters::default());
        assert!(words.faults.is_none() && words.is_empty(), "{line}");
        assert!(line[words.name.unwrap()].eq_ignore_ascii_case("purge_line"), "{line}");
    }
    assert_eq!(faults("G28 X Y W"), [], "letters alone name axes");
    assert_eq!(read("N3G1X2", &Parameters::default()).name, None);
}

#[test]
fn text_after_a_message_is_no_words() {
    let words = read("M117 G28 X1 X1 [50%]", &Parameters::default());
    assert!(words.faults.is_none() && words.has_text);
    assert_eq!((words.g(), words.m()), (&[][..], &[1170][..]));
    assert!(!read("M30 ; the end", &Parameters::default()).has_text);
}

#[test]
fn what_is_no_word_is_told() {
    let cases = [
        ("G1 X[1+2]", LineFault::Expression),
        ("X", LineFault::NoDigit),
        ("N", LineFault::NoDigit),
        ("M104 T S200", LineFault::NoDigit),
        ("G1 X Y5", LineFault::NoDigit),
        ("G28 X X", LineFault::LetterTwice),
        ("G1 = 3", LineFault::NotAWord),
        ("G1.05", LineFault::NotAWord),
        ("G-1", LineFault::OutOfRange),
        ("G1 X2000000000", LineFault::OutOfRange),
        ("G28 G1 X1", LineFault::CodesClash),
        ("M82 M83", LineFault::CodesClash),
        ("#0 = 1", LineFault::Parameter),
        ("#1.5 = 1", LineFault::Parameter),
        ("T0*300", LineFault::Checksum),
    ];
    for (line, fault) in cases {
        assert_eq!(faults(line), [fault], "{line}");
    }
}

#[test]
fn only_a_long_comment_may_be_long() {
    let long = "x".repeat(300);
    assert_eq!(faults(&format!("G1 X1 ;{long}")), []);
    assert_eq!(faults(&format!("G1 X1 ({long})")), [LineFault::TooLong]);
    assert_eq!(faults(&format!("G1 X1 ={long}")), [LineFault::TooLong, LineFault::NotAWord]);
}
