//! The doorway.

use std::process::ExitCode;

fn main() -> ExitCode {
    dwellwatch::main()
}
