//! The daemon's own `main`, so that tests can start the program.

fn main() -> std::process::ExitCode {
    dwellwatch::main()
}
