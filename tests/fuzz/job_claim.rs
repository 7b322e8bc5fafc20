//! What must hold of a job file, whatever its bytes are: nothing panics, every number that is told is finite, the acts
//! come in the order of their lines, and the chunks it comes in change neither acts nor outline. Its parent brings the names it uses, as
//! the daemon's own tests and the fuzz target reach them differently.

use super::{Act, JobOutline, Machine, Outliner, ReadEnd, Reader, What};

/// Checks one text, cut into chunks of the sizes given, against the same text in one piece.
pub(super) fn holds(text: &[u8], mut size: impl FnMut() -> usize) {
    let whole = read([text]);
    let (mut chunks, mut rest) = (Vec::new(), text);
    while !rest.is_empty() {
        let (chunk, tail) = rest.split_at(size().clamp(1, rest.len()));
        chunks.push(chunk);
        rest = tail;
    }
    assert_eq!(read(chunks.iter().copied()), whole, "cut into chunks, it reads differently");
    let told = outline([text]);
    assert_eq!(outline(chunks), told, "cut into chunks, its outline differs");
    is_ordered(&told);
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

fn outline<'t>(chunks: impl IntoIterator<Item = &'t [u8]>) -> JobOutline {
    let mut outliner = Outliner::new(Machine::default());
    chunks.into_iter().for_each(|chunk| outliner.feed(chunk));
    outliner.finish()
}

/// Visits follow each other from the beginning to the end, and no wait is longer than the job.
fn is_ordered(told: &JobOutline) {
    let ends = told.ends.get();
    assert!(ends.is_finite() && ends >= 0.0 && told.begins.is_none_or(|begins| (0.0..=ends).contains(&begins.get())));
    let mut reached = 0.0;
    for visit in &told.visits {
        let (began, ended) = (visit.began.get(), visit.ended.get());
        assert!(reached <= began && began <= ended && ended <= ends, "{visit:?}");
        assert!(visit.extruded.get() >= 0.0 && visit.purge.volume.get() <= visit.extruded.get() + 1e-6, "{visit:?}");
        reached = ended;
    }
    for wait in &told.waits {
        assert!(wait.began <= wait.ended && wait.ended.get() <= ends && wait.dose.get().is_finite(), "{wait:?}");
    }
    for tool in &told.tools {
        assert!(tool.waited.get() <= ends * (1.0 + 1e-9) && tool.filament.get().is_finite(), "{tool:?}");
        assert!(tool.left_hot <= tool.left && tool.left <= tool.visits, "{tool:?}");
    }
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
