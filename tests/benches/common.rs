//! What the benches share: processor time of this process, medians, and a line a figure.

use cpu_time::ProcessTime;

/// Processor time of `work` in microseconds, the kernel's part for it included.
pub fn cpu_us(work: impl FnOnce()) -> f64 {
    let begun = ProcessTime::now();
    work();
    begun.elapsed().as_secs_f64() * 1e6
}

/// The median.
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// One figure beside its bound.
pub fn say(what: &str, figure: f64, unit: &str, bound: f64) {
    let verdict = if figure <= bound { "within" } else { "OVER" };
    println!("{what:<70} {figure:>9.2} {unit:<5} {verdict} {bound}");
}
