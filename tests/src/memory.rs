//! What a process holds in memory, as the kernel counts it. Owns how that is asked; what it may be, tests and benches
//! say.

use std::fs;
use std::process::{Child, ExitStatus};
use std::thread::sleep;
use std::time::Duration;

/// Between two looks at the process: what it takes in its last moment is not seen.
const PACE: Duration = Duration::from_millis(5);

/// Waits until the process ends, and says the most that it has held, KiB.
pub fn peak_kib(child: &mut Child) -> (u64, ExitStatus) {
    let (mut peak, file) = (0, format!("/proc/{}/status", child.id()));
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            return (peak, status);
        }
        let told = fs::read_to_string(&file).unwrap_or_default();
        peak = told.lines().find_map(of_line).unwrap_or(peak);
        sleep(PACE);
    }
}

fn of_line(line: &str) -> Option<u64> {
    line.strip_prefix("VmHWM:")?.trim().strip_suffix("kB")?.trim().parse().ok()
}
