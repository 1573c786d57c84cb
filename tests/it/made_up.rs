//! Studies made up for a test, with the truth known: traces of a few peaks, a log, a study.toml.

use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::results::{Finding, Results};
use vialbook::study::{Injection, Study, StudyConfig, read_log_bytes};
use vialbook::{ExponentiallyModifiedGaussian, Gaussian, Provenance, Run, Trace};

/// A trace of peaks (time in min, area), sd 0.03 min, with a tail or, below 0, a front of this many minutes; 10 points a
/// second, noise 0.02.
fn trace(peaks: &[(f64, f64)], tail_min: f64, seed: u64) -> Trace {
    let mut random = Random::seeded(seed);
    let time: Vec<f64> = (0..6000).map(|i| f64::from(i) / 600.0).collect();
    let mut signal: Vec<f64> = time.iter().map(|_| 1.0 + 0.02 * random.normal()).collect();
    for &(at, area) in peaks {
        if tail_min == 0.0 {
            Gaussian::new(area, at, 0.03).expect("a peak").add_to(&time, &mut signal);
            continue;
        }
        let shape = ExponentiallyModifiedGaussian::new(area, 0.0, 0.03, tail_min.abs()).expect("a peak");
        for (t, y) in time.iter().zip(&mut signal) {
            *y += shape.value((t - at) * tail_min.signum());
        }
    }
    Trace::new(time, signal, "mV").expect("a trace")
}

/// A study in the making.
pub(crate) struct Bench {
    toml: String,
    log: String,
    runs: Vec<Run>,
    /// Tail, or below 0 front, of the peaks of the runs that follow.
    pub(crate) tail_min: f64,
}

impl Bench {
    pub(crate) fn new(toml: &str, columns: &str) -> Self {
        Bench {
            toml: format!("title = \"made up\"\n{toml}"),
            log: format!("run,file,sample,kind{columns}\n"),
            runs: Vec::new(),
            tail_min: 0.0,
        }
    }

    pub(crate) fn run(mut self, name: &str, sample: &str, kind: &str, rest: &str, peaks: &[(f64, f64)]) -> Self {
        self.log.push_str(&format!("{name},{name}.csv,{sample},{kind}{rest}\n"));
        let trace = trace(peaks, self.tail_min, 100 + self.runs.len() as u64);
        self.runs.push(Run { name: name.into(), trace, provenance: Provenance::default() });
        self
    }

    pub(crate) fn study(self) -> Study {
        let config = StudyConfig::parse(&self.toml).expect("a study.toml");
        let names: Vec<String> = config.compounds.iter().map(|c| c.name.clone()).collect();
        let log: Vec<Injection> = read_log_bytes("injections.csv", self.log.as_bytes(), &names).expect("a log");
        Study::from_parts(config, log, self.runs).expect("a study")
    }

    pub(crate) fn results(self) -> Results {
        self.study().analyse().expect("analyses").results().clone()
    }
}

/// The findings of one name.
pub(crate) fn of<'a>(results: &'a Results, what: &str) -> Vec<&'a Finding> {
    results.findings.iter().filter(|f| f.what == what).collect()
}
