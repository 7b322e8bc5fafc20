//! One line by its letters alone. Owns what a comment is here; what a command does is the reader's to know.

/// The line without its comments, those in brackets too.
pub(super) fn without_comments(line: &[u8]) -> Vec<u8> {
    let mut is_within = false;
    let mut bare = Vec::with_capacity(line.len());
    for byte in line.iter().copied().take_while(|byte| *byte != b';') {
        match byte {
            b'(' => is_within = true,
            b')' if is_within => is_within = false,
            _ if is_within => {}
            _ => bare.push(byte),
        }
    }
    bare
}
