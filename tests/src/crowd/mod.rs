//! Many printers at once: their hosts as one cheap process on loopback, the configuration that watches them, and a
//! bare loop to compare the daemon with. Owns the processes and ends them; what has to be true stands in the tests.

mod bare;
mod hosts;

use crate::page;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

/// How many hosts of which kind.
#[derive(Clone, Copy, Debug, Default)]
pub struct Plan {
    /// Answer at once.
    pub sound: usize,
    /// Answer after a third of a second.
    pub late: usize,
    /// Send a byte a fifth of a second: never done within a client's deadline.
    pub dripping: usize,
    /// Take the request, and never answer.
    pub hanging: usize,
}

impl Plan {
    /// Hosts in all.
    #[must_use]
    pub const fn n_hosts(&self) -> usize {
        self.sound + self.late + self.dripping + self.hanging
    }
}

/// The running hosts: one port each, the sound ones first, then late, dripping and hanging ones.
#[derive(Debug)]
pub struct Crowd {
    child: Child,
    /// One a host.
    pub ports: Vec<u16>,
    log: u16,
}

/// The newest requests a host remembers; more than an hour of them would be no use to a test.
const ARRIVALS_MAX: usize = 4096;

impl Crowd {
    /// Starts the hosts; `program` is this package's program for it.
    #[must_use]
    pub fn start(program: &str, plan: Plan) -> Self {
        let counts = [plan.sound, plan.late, plan.dripping, plan.hanging].map(|count| count.to_string());
        let mut command = Command::new(program);
        command.arg("hosts").args(counts).stdin(Stdio::null()).stdout(Stdio::piped());
        let (child, told) = started(command);
        let told: Value = serde_json::from_str(&told).unwrap();
        let port = |value: &Value| u16::try_from(value.as_u64().unwrap()).unwrap();
        Self { child, ports: told["ports"].as_array().unwrap().iter().map(port).collect(), log: port(&told["log"]) }
    }

    /// When each host was asked, ms since the hosts began, by the hosts' own clock.
    #[must_use]
    pub fn arrivals(&self) -> Vec<Vec<u32>> {
        let answer = page::get(self.log, "/").unwrap();
        let (_, body) = answer.split_once("\r\n\r\n").unwrap();
        serde_json::from_str::<Vec<Vec<u32>>>(body).unwrap()
    }

    /// The configuration's section of each host's printer, `printer 0` and on.
    #[must_use]
    pub fn printers(&self, poll_s: f64) -> String {
        let one = |(number, port): (usize, &u16)| printer(number, *port, poll_s);
        self.ports.iter().enumerate().map(one).collect()
    }
}

impl Drop for Crowd {
    fn drop(&mut self) {
        end(&mut self.child);
    }
}

/// The running bare loop: asks each host once a second and drops what comes.
#[derive(Debug)]
pub struct Bare {
    child: Child,
}

impl Bare {
    /// Starts it.
    #[must_use]
    pub fn start(program: &str, ports: &[u16]) -> Self {
        let mut command = Command::new(program);
        command.arg("bare").args(ports.iter().map(u16::to_string)).stdin(Stdio::null()).stdout(Stdio::piped());
        Self { child: started(command).0 }
    }

    /// The process.
    #[must_use]
    pub fn id(&self) -> u32 {
        self.child.id()
    }
}

impl Drop for Bare {
    fn drop(&mut self) {
        end(&mut self.child);
    }
}

/// Starts a program and waits for its first line.
fn started(mut command: Command) -> (Child, String) {
    let mut child = command.spawn().unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    (child, line)
}

fn end(child: &mut Child) {
    // One that has ended by itself has told why on its stderr.
    drop(child.kill());
    drop(child.wait());
}

/// The program that is started for the hosts and for the bare loop.
pub fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let numbers = || words[1..].iter().map(|word| word.parse::<usize>().unwrap());
    match words.first().map(String::as_str) {
        Some("hosts") => {
            let counts: Vec<usize> = numbers().collect();
            let [sound, late, dripping, hanging] = counts[..] else { unreachable!("four counts, found {counts:?}") };
            hosts::serve(Plan { sound, late, dripping, hanging });
        }
        Some("bare") => bare::run(&numbers().map(|port| u16::try_from(port).unwrap()).collect::<Vec<_>>()),
        other => unreachable!("hosts or bare, found {other:?}"),
    }
}

/// What a host tells at its n-th answer: about 1 KB, of which a good part is not for the watch.
#[must_use]
pub fn body(host: usize, answer: u32) -> String {
    // Cheap, and unlike from second to second and from host to host.
    let salt = u32::try_from(host).unwrap_or(0).wrapping_mul(7919);
    let noise = |heater: u32| f64::from(answer.wrapping_mul(104_729).wrapping_add(salt + heater * 31) % 7) / 10.0 - 0.3;
    let tool = (answer / 60) % 2;
    let heater = |number: u32, target: f64| {
        json!({"id": number, "measured": ((target + noise(number)) * 10.0).round() / 10.0, "wanted": target,
               "duty": 0.3 + noise(number + 9) / 10.0})
    };
    let nozzle = |number: u32, print: f64, standby: f64| heater(number, if tool == number { print } else { standby });
    let axis = |letter: &str, at: u32| json!({"axis": letter, "at mm": f64::from(answer % at) * 1.25, "homed": true, "limit mm": 220});
    json!({
        "software": {"release": "3.1.0", "built": "2025-11-02", "up for s": 4000 + answer, "memory free kB": 51_200 - answer % 100},
        "axes": [axis("x", 170), axis("y", 160), axis("z", 200), axis("e", 90)],
        "fans": [{"name": "part", "share": 1.0}, {"name": "left", "share": 0.8}, {"name": "right", "share": 0.8}],
        "heat": {"nozzles": [nozzle(0, 210.0, 175.0), nozzle(1, 235.0, 190.0)], "bed": heater(2, 60.0)},
        "job": {"state": "printing", "file": format!("lantern-{host}.gcode"), "done": f64::from(answer) / 100_000.0,
                "bytes": u64::from(answer) * 211, "nozzle": tool, "layer": answer / 40, "layers": 1200},
        "notes": ["spool changed on the left, ninety grams remain", "bed cleaned before the job began",
                  "the left hot end was changed a week ago, its nozzle is new; retraction as before", "door shut"],
        "lights": {"inside": true, "status": "steady", "level": 70},
    })
    .to_string()
}

/// The section of the configuration for one of the hosts.
#[must_use]
pub fn printer(number: usize, port: u16, poll_s: f64) -> String {
    let nozzle = |number: usize| {
        let at = |key: &str| format!("{{ path = \"$.heat.nozzles[?@.id=={number}].{key}\" }}");
        format!(
            "[[printer.tool]]\nactual = {}\ntarget = {}\nduty = {}\n[printer.tool.settings]\nmaterial = \"PLA\"\nprint_c = 210\n",
            at("measured"),
            at("wanted"),
            at("duty")
        )
    };
    format!(
        "[[printer]]\nname = \"printer {number}\"\npoll_s = {poll_s:?}\n\
         [[printer.document]]\nname = \"state\"\nurl = \"http://127.0.0.1:{port}/state\"\n\
         [printer.job]\nstate = {{ path = \"$.job.state\" }}\nname = {{ path = \"$.job.file\" }}\n\
         fraction = {{ path = \"$.job.done\" }}\nbyte = {{ path = \"$.job.bytes\" }}\n\
         [printer.active_tool]\npath = \"$.job.nozzle\"\n\
         {}{}[printer.bed]\nactual = {{ path = \"/heat/bed/measured\" }}\ntarget = {{ path = \"/heat/bed/wanted\" }}\n\n",
        nozzle(0),
        nozzle(1),
    )
}
