//! Words of general English and of the trade, and how a key falls into words. Owns the lists; what a word proves is
//! judged where it is used. Must not: hold a word for the sake of one host. Long lists are set as text, not as columns.

use super::tongues;

/// Words for what is measured.
#[rustfmt::skip]
pub(super) const ACTUAL: &[&str] = &[
    "actual", "current", "measured", "measure", "measurement", "now", "real", "reading", "read", "sensor", "sensed",
    "is", "observed", "felt", "seen", "present", "live", "pv", "reported", "got", "have", "has", "feels", "feel", "sense", "senses", "shows", "cur", "curr", "act", "meas",
];
/// Words for what is asked for.
#[rustfmt::skip]
pub(super) const TARGET: &[&str] = &[
    "target", "set", "setpoint", "goal", "want", "wanted", "wish", "wished", "desired", "demand", "demanded",
    "command", "commanded", "request", "requested", "ask", "asked", "aim", "aimed", "sp", "sv", "should", "order",
    "ordered", "expected", "intended", "needed", "required", "reference", "destination", "dest", "told", "assigned", "setting", "nominal", "objective", "want", "wants", "instructed", "tgt", "trg", "targ", "des",
    "regulated", "hold", "maintain", "maintained",
];
/// Words for a temperature.
pub(super) const TEMPERATURE: &[&str] = &[
    "temperature",
    "temp",
    "degree",
    "deg",
    "celsius",
    "fahrenheit",
    "kelvin",
    "degc",
    "degf",
    "tenth",
    "hundredth",
    "decidegree",
];
/// Words around heaters that do not tell one from another.
pub(super) const HEAT: &[&str] =
    &["heat", "heater", "heating", "warmth", "thermal", "thermistor", "hearth", "thermometer", "thermocouple", "warm"];
/// Words for a hot end.
#[rustfmt::skip]
pub(super) const TOOL: &[&str] = &[
    "tool", "nozzle", "hotend", "extruder", "tip", "head", "toolhead", "printhead", "t", "burner", "spout",
    "extrusion", "carriage",
];
/// Words that tell one hot end from the other, in the order of their tools.
pub(super) const ORDER: &[(&str, usize)] = &[
    ("left", 0),
    ("right", 1),
    ("front", 0),
    ("rear", 1),
    ("back", 1),
    ("first", 0),
    ("second", 1),
    ("primary", 0),
    ("secondary", 1),
    ("main", 0),
    ("auxiliary", 1),
    ("aux", 1),
    ("upper", 0),
    ("lower", 1),
    ("inner", 0),
    ("outer", 1),
    ("one", 0),
    ("two", 1),
    ("west", 0),
    ("east", 1),
    ("port", 0),
    ("starboard", 1),
];
/// Words for the heated bed.
pub(super) const BED: &[&str] =
    &["bed", "plate", "platform", "table", "surface", "slab", "buildplate", "heatbed", "heatedbed", "floor", "base"];
/// Words for what has a temperature and is neither hot end nor bed.
#[rustfmt::skip]
pub(super) const ELSEWHERE: &[&str] = &[
    "chamber", "enclosure", "cabinet", "ambient", "room", "air", "box", "case", "board", "mcu", "cpu", "psu",
    "controller", "driver", "motor", "stepper", "soc", "chip", "electronics", "supply", "camera", "dryer", "spool",
    "coolant", "water", "host", "probe", "outside", "inside", "interior", "system", "housing", "hood", "locker",
    "oven", "sink", "gantry", "drybox", "mainboard", "processor", "exhaust",
];
/// Words that make a number something else than a temperature.
#[rustfmt::skip]
pub(super) const NOT_HEAT: &[&str] = &[
    "fan", "rpm", "speed", "feed", "feedrate", "flow", "position", "x", "y", "z", "volt", "voltage", "amp", "ampere",
    "watt", "time", "elapsed", "remaining", "eta", "layer", "byte", "size", "progress", "percent", "percentage",
    "pct", "humidity", "pressure", "version", "uptime", "signal", "rssi", "memory", "free", "fraction", "ratio",
    "share", "duration", "seconds", "sec", "minute", "hour", "millisecond", "count", "total", "length", "diameter",
    "mm", "micron", "distance", "offset", "duty", "pwm", "power", "effort", "output", "retract", "retraction",
    "volume", "weight", "filament", "acceleration", "jerk", "port", "epoch", "timestamp", "date", "blower", "cooling",
    "brightness", "light", "revision", "sequence", "seq", "line", "width", "height", "axis", "at", "ms", "hz", "age",
    "permille", "load", "mass", "gram",
];
/// The same, where they stand above a value.
#[rustfmt::skip]
pub(super) const NOT_HEAT_ABOVE: &[&str] = &[
    "fan", "rpm", "speed", "feed", "feedrate", "flow", "position", "x", "y", "z", "axis", "axe", "layer", "progress",
    "humidity", "pressure", "filament", "duty", "pwm", "offset", "volt", "voltage", "blower", "memory", "preset",
    "profile", "history", "byte", "size", "limit", "max", "min", "maximum", "minimum", "default", "material", "slicer", "setting",
];
/// Words for a temperature that is neither measured nor asked for now.
#[rustfmt::skip]
pub(super) const LIMIT: &[&str] = &[
    "max", "min", "maximum", "minimum", "limit", "preset", "profile", "default", "standby", "tolerance", "hysteresis",
    "window", "threshold", "peak", "average", "mean", "last", "previous", "next", "overshoot", "ceiling", "rated",
    "warning", "calibration", "highest", "lowest", "kp", "ki", "kd", "pid", "deviation", "error", "delta", "trend",
    "history", "residency", "print", "safe", "cutoff", "ago",
];
/// Words for heater power.
pub(super) const DUTY: &[&str] = &[
    "duty", "power", "pwm", "output", "effort", "push", "drive", "cycle", "load", "level", "throttle", "op", "mv",
    "strength", "percent", "watt",
];
/// Words for one that is at work among several.
#[rustfmt::skip]
pub(super) const AT_WORK: &[&str] = &[
    "active", "current", "selected", "use", "working", "work", "engaged", "hand", "used", "using", "now", "picked",
    "carried", "mounted", "on", "operating", "busy", "printing", "laying", "loaded", "extruding", "live", "chosen",
    "primary", "turn",
];
/// Words for one that is not at work yet or any more, and for how many there are.
#[rustfmt::skip]
pub(super) const NOT_AT_WORK: &[&str] = &[
    "next", "previous", "last", "requested", "count", "total", "wanted", "number_of", "change", "changes", "target",
    "default", "amount", "max", "upcoming", "planned", "installed", "fitted", "home", "first", "temperature", "temp",
    "fault", "error",
];
/// Words for a state.
#[rustfmt::skip]
pub(super) const STATE: &[&str] = &[
    "state", "status", "phase", "mood", "doing", "activity", "stage", "condition", "mode", "step", "situation",
    "action", "occupation", "task", "operation",
];
/// Words for the job.
#[rustfmt::skip]
pub(super) const JOB: &[&str] = &[
    "job", "print", "task", "work", "printer", "machine", "order", "run", "assignment", "production", "errand",
    "build", "piece",
];
/// Words for things whose states are not the job's.
#[rustfmt::skip]
pub(super) const NOT_JOB: &[&str] = &[
    "network", "connection", "wifi", "door", "light", "lamp", "camera", "update", "fan", "service", "api", "link",
    "cloud", "usb", "card", "sensor", "firmware", "lid", "led", "filter", "server", "health", "log", "level",
    "severity", "message", "material", "unit", "kind", "type", "version", "model", "language", "power", "spool",
    "storage", "clock", "sync", "last", "previous", "next", "queue", "history", "filament", "door",
];
/// Words for progress.
#[rustfmt::skip]
pub(super) const PROGRESS: &[&str] = &[
    "progress", "percent", "percentage", "pct", "fraction", "complete", "completed", "completion", "done", "share",
    "ratio", "permille", "promille", "part", "ppm", "proportion", "advance", "percentdone", "finished", "portion",
    "perc", "thousandth",
];
/// Words for what moves along without being progress.
#[rustfmt::skip]
pub(super) const NOT_PROGRESS: &[&str] = &[
    "uptime", "fan", "speed", "flow", "feed", "feedrate", "humidity", "battery", "volume", "brightness", "x", "y",
    "z", "temperature", "temp", "load", "cpu", "memory", "duty", "power", "pwm", "effort", "filament", "signal",
    "spool", "heater", "usage", "override", "extruded", "remaining", "left", "tool", "counter", "sequence", "seq",
    "download", "update", "upload", "revision", "nozzle", "bed", "hotend", "extruder", "chamber", "moisture", "stock", "quality", "wear", "life", "age",
];
/// Words for bytes of the job file.
pub(super) const BYTE: &[&str] = &["byte", "offset", "position", "pos", "octet", "filepos", "cursor"];
/// Words for a whole that something is part of.
pub(super) const WHOLE: &[&str] =
    &["total", "size", "of", "all", "whole", "length", "count", "max", "full", "estimated", "overall", "expected"];
/// Words for a name of a job.
pub(super) const NAME: &[&str] = &[
    "name", "file", "filename", "title", "document", "path", "sheet", "job", "print", "model", "part", "task", "label",
    "source", "program", "item", "work", "piece", "subject",
];
/// Words for texts that look like a job's name and are none.
#[rustfmt::skip]
pub(super) const NOT_NAME: &[&str] = &[
    "version", "firmware", "host", "hostname", "url", "uri", "thumbnail", "image", "preview", "material", "address",
    "ip", "build", "user", "owner", "software", "serial", "link", "href", "api", "printer", "vendor", "machine",
    "brand", "profile", "schema", "type", "id", "unit", "language", "camera", "next", "previous", "last", "queue",
    "history", "recent", "message", "log", "folder", "directory",
];
/// Words for instants that are not the one of the values.
#[rustfmt::skip]
pub(super) const NOT_NOW: &[&str] = &[
    "start", "started", "begin", "began", "begun", "end", "ended", "finish", "eta", "estimated", "since", "due",
    "boot", "booted", "expected", "created", "modified", "uploaded", "expires", "until", "last", "next",
    "ready", "remaining", "complete", "completes", "done", "arrival", "left", "seen",
];
/// Words for a heater that is off.
pub(super) const OFF: &[&str] = &["off", "-", "--", "–", "—", "none", "cold", "n/a", "idle"];

/// Every list, for words written together.
const LISTS: [&[&str]; 14] =
    [ACTUAL, TARGET, TEMPERATURE, HEAT, TOOL, BED, ELSEWHERE, DUTY, STATE, JOB, PROGRESS, BYTE, WHOLE, NAME];

/// Two words that are one in the trade.
const COMPOUNDS: [(&str, &str, &str); 12] = [
    ("hot", "end", "hotend"),
    ("set", "point", "setpoint"),
    ("per", "cent", "percent"),
    ("build", "plate", "buildplate"),
    ("per", "mille", "permille"),
    // A print bed is no temperature to print at.
    ("print", "bed", "bed"),
    ("print", "plate", "plate"),
    ("print", "surface", "surface"),
    ("print", "head", "printhead"),
    // A number that is written so many times larger.
    ("x", "10", "tenth"),
    ("x", "100", "hundredth"),
    ("x", "1000", "thousandth"),
];

/// Signs that are words.
const SIGNS: [(char, &str); 3] = [('%', "percent"), ('‰', "permille"), ('℃', "celsius")];

/// Shorter parts of a word are chance.
const PART_CHARS_MIN: usize = 3;

/// The words of a key or an identifier, in lower case: `hotEndTemp_2` is `hotend`, `temp`, `2`.
pub(super) fn split(key: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut before: Option<char> = None;
    let mut chars = key.chars().peekable();
    while let Some(char) = chars.next() {
        if !char.is_alphanumeric() {
            before = None;
            words.extend(SIGNS.iter().find(|(sign, _)| *sign == char).map(|(_, word)| (*word).to_owned()));
            continue;
        }
        let lower_next = chars.peek().is_some_and(|next| next.is_lowercase());
        let begins = before.is_none_or(|before| {
            let camel = char.is_uppercase() && (before.is_lowercase() || (before.is_uppercase() && lower_next));
            camel || before.is_numeric() != char.is_numeric()
        });
        if begins {
            words.push(String::new());
        }
        if let Some(word) = words.last_mut() {
            word.extend(char.to_lowercase());
        }
        before = Some(char);
    }
    joined(words.into_iter().flat_map(|word| parted(&word)).collect())
}

/// Puts the trade's compounds together.
fn joined(words: Vec<String>) -> Vec<String> {
    let mut joined: Vec<String> = Vec::with_capacity(words.len());
    for word in words {
        let compound = joined.last().and_then(|last| {
            let found = COMPOUNDS.iter().find(|(first, second, _)| last == first && is_one(&word, &[second]));
            // An axis may have a number as well; what is multiplied stands before.
            found.filter(|(first, _, _)| *first != "x" || joined.len() > 1).map(|found| found.2)
        });
        match (compound, joined.last_mut()) {
            (Some(compound), Some(last)) => compound.clone_into(last),
            (_, _) => joined.push(word),
        }
    }
    joined
}

/// A word that is two known ones written together, as the two.
fn parted(word: &str) -> Vec<String> {
    let listed = |part: &str| LISTS.iter().any(|list| is_one(part, list));
    if listed(word) || side(word).is_some() {
        return vec![word.to_owned()];
    }
    let ends = word.char_indices().map(|(at, _)| at).skip(PART_CHARS_MIN);
    let cuts: Vec<usize> = ends.filter(|cut| word[*cut..].chars().count() >= PART_CHARS_MIN).collect();
    let cut = cuts.into_iter().rev().find(|cut| listed(&word[..*cut]) && listed(&word[*cut..]));
    cut.map_or_else(|| vec![word.to_owned()], |cut| vec![word[..cut].to_owned(), word[cut..].to_owned()])
}

/// Whether the word is in any list, tells a side, or is a number: what a description's prose is cut down to.
pub(super) fn is_known(word: &str) -> bool {
    let listed = LISTS.iter().any(|list| is_one(word, list)) || is_one(word, AT_WORK);
    side(word).is_some() || listed || word.parse::<u8>().is_ok()
}

/// Where the word stands in [`ORDER`], in whatever language it is.
pub(super) fn side(word: &str) -> Option<usize> {
    let place = |word: &str| ORDER.iter().position(|(side, _)| *side == word);
    place(word).or_else(|| tongues::english(word).and_then(place))
}

/// Whether the word, or its English one, is in the list, in the singular or the plural.
pub(super) fn is_one(word: &str, list: &[&str]) -> bool {
    let is_listed = |word: &str| {
        let singular = word.strip_suffix('s').filter(|stem| stem.len() > 1);
        list.iter().any(|one| *one == word || Some(*one) == singular)
    };
    is_listed(word) || tongues::english(word).is_some_and(is_listed)
}

/// The word without the ending of its plural. A side that ends so is no plural.
pub(super) fn singular(word: &str) -> String {
    if side(word).is_some() {
        return word.to_owned();
    }
    word.strip_suffix('s').filter(|stem| stem.len() > 1).unwrap_or(word).to_owned()
}

/// Whether any of the words is in the list.
pub(super) fn any(words: &[String], list: &[&str]) -> bool {
    words.iter().any(|word| is_one(word, list))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_of_every_spelling_fall_into_the_same_words() {
        for key in ["hotEndTemp2", "hot_end_temp_2", "hot-end temp.2", "HOTEND_TEMP2", "HotEndTemp2", "hotendtemp2"] {
            assert_eq!(split(key), ["hotend", "temp", "2"], "{key}");
        }
        assert_eq!(split("bedtemp"), ["bed", "temp"]);
        assert_eq!(split("T1"), ["t", "1"]);
        assert_eq!(split("PSUVolts"), ["psu", "volts"]);
        assert_eq!(split("tip a"), ["tip", "a"]);
        assert!(is_one("nozzles", TOOL) && is_one("progress", PROGRESS) && !is_one("s", TOOL));
    }
}
