//! The crowd as a program: its hosts, or the bare loop that asks them, each in a process of its own, so that neither
//! is counted as the daemon's.

fn main() {
    dwell_tests::crowd::main();
}
