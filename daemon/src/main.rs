//! The doorway.

fn main() {}
