//! What must hold of a job file, whatever its bytes are: nothing panics, every number that is told is finite, the acts
//! come in the order of their lines, and the chunks it comes in change nothing. Its parent brings the names it uses, as
//! the daemon's own tests and the fuzz target reach them differently.

use super::{Act, ReadEnd, Reader, What};

/// Checks one text, cut into chunks of the sizes given, against the same text in one piece.
pub(super) fn holds(text: &[u8], mut size: impl FnMut() -> usize) {
    let whole = read([text]);
    let (mut chunks, mut rest) = (Vec::new(), text);
    while !rest.is_empty() {
        let (chunk, tail) = rest.split_at(size().clamp(1, rest.len()));
        chunks.push(chunk);
        rest = tail;
    }
    assert_eq!(read(chunks), whole, "cut into chunks, it reads differently");
    let (acts, end) = whole;
    assert_eq!(end.bytes, u64::try_from(text.len()).unwrap());
    assert!(end.commands <= end.lines && end.lines <= end.bytes);
    assert!(acts.is_sorted_by_key(|act| act.byte) && acts.iter().all(|act| act.byte < end.bytes));
    acts.iter().for_each(is_sound);
}

fn read<'t>(chunks: impl IntoIterator<Item = &'t [u8]>) -> (Vec<Act>, ReadEnd) {
    let (mut reader, mut acts) = (Reader::new(), Vec::new());
    for chunk in chunks {
        reader.feed(chunk, &mut |act| acts.push(act));
    }
    let end = reader.finish(&mut |act| acts.push(act));
    (acts, end)
}

fn is_sound(act: &Act) {
    let What::Move(found) = act.what else { return };
    let parts = [found.from, found.to, found.enters, found.leaves].concat();
    assert!(
        parts.iter().chain([&found.length, &found.filament, &found.speed]).all(|part| part.is_finite()),
        "{found:?}"
    );
    assert!(found.speed >= 0.0 && found.length >= 0.0, "{found:?}");
    for ahead in [found.enters, found.leaves] {
        let length = ahead.iter().map(|part| part * part).sum::<f64>().sqrt();
        let expected = if found.length > 0.0 { 1.0 } else { 0.0 };
        assert!((length - expected).abs() < 1e-6, "{found:?}");
    }
}
