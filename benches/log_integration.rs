//! Reads and integrates one log: prints charge, energy, seconds and the peak of memory. Run by
//! `benches/log_integration.sh`, which makes a log of ten million rows and sets other libraries beside it.

#![allow(clippy::print_stdout, reason = "it is what the bench is for")]

use std::path::Path;
use std::time::Instant;

use underlid::logs::account::Account;
use underlid::logs::instrument::Accuracies;
use underlid::logs::integrate::Integrator;
use underlid::logs::read::{LogReader, Meaning, ReadSettings};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    // `cargo bench` adds an argument of its own.
    let Some(path) = std::env::args().skip(1).find(|arg| !arg.starts_with("--")) else {
        println!("no log given: run benches/log_integration.sh");
        return Ok(());
    };
    let start = Instant::now();
    let mut log = LogReader::open(Path::new(&path), &ReadSettings::default())?;
    let voltage = log.layout().slot(Meaning::Voltage).ok_or("no voltage")?;
    let current = log.layout().slot(Meaning::Current).ok_or("no current")?;
    let temperature = log.layout().slot(Meaning::Temperature);
    let mut integrator = Integrator::new();
    let mut account = Account::of(log.layout());
    let mut highest = f64::NEG_INFINITY;
    while let Some(block) = log.next_block()? {
        for sample in block.samples() {
            integrator.push(sample.time, sample.get(voltage), sample.get(current), sample.after_break);
            account.push(&sample, sample.get(voltage), sample.get(current));
            if let Some(slot) = temperature {
                highest = highest.max(sample.get(slot));
            }
        }
    }
    let integral = integrator.finish(&Accuracies::default()).ok_or("fewer than two samples")?;
    let seconds = start.elapsed().as_secs_f64();
    let energy = integral.energy.ok_or("no voltage")?;
    println!(
        "underlid: {:.9} Ah, {:.9} Wh, {} samples, {seconds:.3} s, peak {:.1} MB, {:.2} processor s, highest {:.3} degC, \
         {} stretches",
        integral.charge.value / 3600.0,
        energy.value / 3600.0,
        integral.samples,
        peak_megabytes().unwrap_or(f64::NAN),
        processor_seconds().unwrap_or(f64::NAN),
        if highest.is_finite() { highest - 273.15 } else { 0.0 },
        account.stretches().len(),
    );
    Ok(())
}

/// The most memory this process has held (Linux).
fn peak_megabytes() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kilobytes: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kilobytes / 1024.0)
}

/// Processor time of all threads, those that have ended among them (Linux, whose clock ticks 100 times a second).
fn processor_seconds() -> Option<f64> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    // The name before it may hold spaces; user and system time are the 12th and 13th field after it.
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks: f64 = fields.get(11..13)?.iter().filter_map(|field| field.parse::<f64>().ok()).sum();
    Some(ticks / 100.0)
}
