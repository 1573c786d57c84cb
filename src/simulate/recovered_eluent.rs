//! The scenario "may the recovered eluent go back on the shelf?".

use crate::numeric::Xoshiro256PlusPlus;
use crate::simulate::detector::{Disturbance, SimulatedDetector};
use crate::simulate::injection::{InjectionErrors, PreparationErrors};
use crate::simulate::peak::SimulatedColumn;
use crate::simulate::retention::{OvenProgramme, RetentionConstants};
use crate::simulate::scenario::{ContentTruth, Factor, Flask, PlannedInjection, Scenario, SimulatedCompound};
use crate::simulate::write::DEMO_FIRST_LINE;
use crate::study::{Kind, OvenStep, StartButton};

/// The seed of the demonstration.
pub const DEMO_SEED: u64 = 28;

/// Places in the list of compounds.
const ALCOHOL: usize = 0;
const ESTER: usize = 1;
const HEPTANE: usize = 2;
const OCTANE: usize = 3;
const NONANE: usize = 4;
const DECANE: usize = 5;

/// Name, retention factor at 40 °C, b in K, density at 20 °C in g/mL, molar mass in g/mol, response in mV·min/µg, tail in s.
///
/// Retention and response are invented: a methyl siloxane column with a phase ratio near 44, on which alcohols leave
/// before alkanes of the same boiling point; a photo-ionisation detector. Densities: Perry's Chemical Engineers'
/// Handbook, table 2-32, at 20 °C, but isopropyl acetate: CRC Handbook, near 20 to 25 °C.
const COMPOUNDS: [(&str, f64, f64, f64, f64, f64, f64); 6] = [
    ("2-propanol", 1.35, 3300.0, 0.7867, 60.0950, 7.5, 0.8),
    ("isopropyl acetate", 5.6, 3700.0, 0.8662, 102.1317, 6.5, 0.3),
    ("heptane", 9.5, 3900.0, 0.6857, 100.2019, 4.0, 0.3),
    ("octane", 23.0, 4350.0, 0.7067, 114.2285, 4.5, 0.3),
    ("nonane", 54.0, 4800.0, 0.7208, 128.2551, 4.8, 0.3),
    ("decane", 128.0, 5250.0, 0.7316, 142.2817, 3.0, 0.3),
];

/// Contents of the standards' flasks in % v/v, levels 1 to 5: 10 to 30 % of ester and 0.1 to 1.0 % of alcohol in the
/// undiluted liquid, over 50.
const ESTER_LEVELS: [f64; 5] = [0.2, 0.3, 0.4, 0.5, 0.6];
const ALCOHOL_LEVELS: [f64; 5] = [0.002, 0.005, 0.01, 0.015, 0.02];
const OCTANE_PERCENT: f64 = 0.4;
const HEPTANE_PERCENT: f64 = 1.6;
const DILUTION: f64 = 50.0;
/// Nonane that the decane brings with it: a peak that nobody asked for, in the blank too.
const NONANE_IN_DECANE: f64 = 1e-4;

/// Day, minutes after 09:00, flask (standards: level and flask), and which shot of it: blank first, levels mixed,
/// shots of one flask apart, the check standard among the samples.
const PLAN: [&[&str]; 2] = [
    &[
        "blank-solvent-1",
        "blank-matrix-1",
        "level-3-1",
        "level-1-1",
        "level-5-1",
        "level-2-1",
        "level-4-1",
        "check-1",
        "eluent-A-1",
        "level-5-3",
        "level-2-3",
        "eluent-B-1",
        "level-4-3",
        "level-1-3",
        "level-3-3",
        "eluent-C-1",
    ],
    &[
        "blank-solvent-2",
        "eluent-no-octane-1",
        "level-4-2",
        "level-1-2",
        "eluent-A-2",
        "level-3-2",
        "level-5-2",
        "level-2-2",
        "check-2",
        "eluent-C-2",
        "level-1-4",
        "level-5-4",
        "level-3-4",
        "eluent-B-2",
        "level-2-4",
        "level-4-4",
    ],
];
const DAYS: [&str; 2] = ["2026-03-12", "2026-03-13"];
const MINUTES_APART: usize = 20;

/// A teaching laboratory distils its used heptane / isopropyl acetate eluent and asks whether isopropyl acetate
/// (20.0 ± 1.5 % v/v) and 2-propanol (at most 0.5 % v/v, from hydrolysis) are within its house limits. All of it
/// is invented.
///
/// Thirty-two injections on two half days: a solvent blank each day, a matrix blank, five levels of two flasks with
/// two shots each, a check standard from other stocks (two shots), three flasks of sample with two shots each, a
/// sample without internal standard. Everything is diluted 50 times in decane, octane is the internal standard,
/// 0.3 µL is injected.
///
/// The true contents are drawn around 19.6 % v/v of ester (standard deviation 0.5) and 0.487 % v/v of alcohol
/// (0.04), so that another seed may call for another decision.
///
/// ```
/// let scenario = vialbook::simulate::recovered_eluent(1);
/// assert_eq!(scenario.injections.len(), 32);
/// ```
pub fn recovered_eluent(seed: u64) -> Scenario {
    let mut random = Xoshiro256PlusPlus::stream(seed, 0);
    let ester = (0.196 + 0.005 * random.normal()).clamp(0.1, 0.3);
    let alcohol = (0.00487 + 0.0004 * random.normal()).clamp(0.0005, 0.01);
    let sample = [alcohol, ester, 1.0 - alcohol - ester, 0.0, 0.0, 0.0];
    let density: f64 = (0..COMPOUNDS.len()).map(|j| sample[j] * COMPOUNDS[j].3).sum();
    let weighed = ((density + 0.0005 * random.normal()) * 1e4).round() / 1e4;

    let preparation = PreparationErrors::default();
    let mut random = Xoshiro256PlusPlus::stream(seed, 1);
    let mut stocks = Stocks { first: [1.0; 6], second: [1.0; 6] };
    for j in [ALCOHOL, ESTER] {
        stocks.first[j] = preparation.stock(&mut random);
        stocks.second[j] = preparation.stock(&mut random);
    }
    let octane = PreparationErrors { stock_half_width: 0.01, ..preparation }.stock(&mut random);
    (stocks.first[OCTANE], stocks.second[OCTANE]) = (octane, octane);

    let detector = detector();
    let flasks = Flasks { seed, preparation, stocks: &stocks, sample }.all();
    let injections = plan(&flasks);
    Scenario {
        name: "recovered eluent".to_owned(),
        seed,
        study_toml: include_str!("recovered_eluent.toml")
            .replace("@FIRST_LINE@", DEMO_FIRST_LINE)
            .replace("@SEED@", &seed.to_string())
            .replace("@FULL_SCALE@", &format!("{:?}", detector.full_scale))
            .replace("@STEP@", &format!("{:?}", detector.step))
            .replace("@DENSITY@", &format!("{weighed:?}")),
        compounds: COMPOUNDS
            .iter()
            .map(|&(name, k, b_k, density_g_ml, molar_mass_g_mol, response, tail_s)| SimulatedCompound {
                name: name.to_owned(),
                retention: RetentionConstants::from_factor(k, 40.0, b_k),
                density_g_ml,
                molar_mass_g_mol,
                response,
                tail_s,
            })
            .collect(),
        column: SimulatedColumn {
            hold_up_min: 0.5,
            plates: 2000.0,
            load_ug: 2.0,
            flow_ml_min: 5.0,
            injector_c: 200.0,
            inlet_kpa: 121.3,
        },
        oven: OvenProgramme::new(&[
            OvenStep { temperature_c: 40.0, ramp_c_per_min: None, hold_min: 1.0 },
            OvenStep { temperature_c: 150.0, ramp_c_per_min: Some(12.0), hold_min: 1.0 },
        ])
        .expect("the programme above is sound"),
        method: "eluent".to_owned(),
        start_button: StartButton::OvenAndRecording,
        detector,
        injection_errors: InjectionErrors::default(),
        volume_ul: 0.3,
        points: 6481,
        points_per_min: 600.0,
        flasks,
        injections,
        contents: [ALCOHOL, ESTER, HEPTANE]
            .into_iter()
            .map(|j| ContentTruth {
                sample: SAMPLE.to_owned(),
                compound: COMPOUNDS[j].0.to_owned(),
                volume_fraction: sample[j],
                mass_fraction: sample[j] * COMPOUNDS[j].3 / density,
            })
            .collect(),
        shared_factors: vec![
            factor("ester stock", stocks.first[ESTER]),
            factor("alcohol stock", stocks.first[ALCOHOL]),
            factor("check standard: ester stock", stocks.second[ESTER]),
            factor("check standard: alcohol stock", stocks.second[ALCOHOL]),
            factor("internal standard solution", octane),
        ],
    }
}

const SAMPLE: &str = "recovered eluent";
const SAMPLE_WITHOUT: &str = "recovered eluent without octane";

fn factor(what: &str, factor: f64) -> Factor {
    Factor { what: what.to_owned(), factor }
}

/// Invented, of a size usual for a small instrument.
fn detector() -> SimulatedDetector {
    SimulatedDetector {
        unit: "mV".to_owned(),
        noise_sd: 0.02,
        noise_correlation: 0.3,
        zero: 12.0,
        zero_sd: 0.3,
        drift_per_min: 0.01,
        drift_sd_per_min: 0.005,
        bleed: 1.5,
        response_change_per_run: -0.0005,
        disturbances: vec![
            Disturbance { time_min: 0.03, height: 0.9, height_scatter: 0.2, sd_s: 0.5 },
            Disturbance { time_min: 0.5, height: -1.2, height_scatter: 0.2, sd_s: 0.8 },
            Disturbance { time_min: 0.56, height: 2.5, height_scatter: 0.2, sd_s: 1.0 },
        ],
        step: 0.005,
        full_scale: 2500.0,
        decimals: 3,
    }
}

/// Factors of the first stocks (standards) and the second (check standard), by compound.
struct Stocks {
    first: [f64; 6],
    second: [f64; 6],
}

/// Makes the flasks, each with its own stream of draws.
struct Flasks<'a> {
    seed: u64,
    preparation: PreparationErrors,
    stocks: &'a Stocks,
    sample: [f64; 6],
}

impl Flasks<'_> {
    fn all(&self) -> Vec<Flask> {
        let mut flasks = vec![
            self.made("solvent blank", Kind::SolventBlank, None, [Some(0.0), Some(0.0), None, Some(0.0)]),
            self.made(
                "matrix blank",
                Kind::MatrixBlank,
                None,
                [Some(0.0), Some(0.0), Some(HEPTANE_PERCENT), Some(OCTANE_PERCENT)],
            ),
            self.made(
                "check standard",
                Kind::CheckStandard,
                None,
                [Some(0.008), Some(0.44), Some(HEPTANE_PERCENT), Some(OCTANE_PERCENT)],
            ),
        ];
        for level in 0..5 {
            for flask in ["A", "B"] {
                let contents = [
                    Some(ALCOHOL_LEVELS[level]),
                    Some(ESTER_LEVELS[level]),
                    Some(HEPTANE_PERCENT),
                    Some(OCTANE_PERCENT),
                ];
                flasks.push(self.made(&format!("level {}", level + 1), Kind::Standard, Some(flask), contents));
            }
        }
        flasks.extend(["A", "B", "C"].map(|flask| self.diluted(SAMPLE, Some(flask), OCTANE_PERCENT)));
        flasks.push(self.diluted(SAMPLE_WITHOUT, None, 0.0));
        for (index, flask) in flasks.iter_mut().enumerate() {
            self.fill(index, flask);
        }
        flasks
    }

    /// A flask of known contents: alcohol, ester, heptane, octane in % v/v.
    fn made(&self, sample: &str, kind: Kind, preparation: Option<&str>, contents: [Option<f64>; 4]) -> Flask {
        let mut stated_percent = contents.to_vec();
        stated_percent.resize(COMPOUNDS.len(), None);
        Flask {
            sample: sample.to_owned(),
            kind,
            preparation: preparation.map(str::to_owned),
            dilution: None,
            stated_percent,
            true_fractions: vec![0.0; COMPOUNDS.len()],
            factors: Vec::new(),
            note: Some("simulated".to_owned()),
        }
    }

    /// A flask of diluted sample.
    fn diluted(&self, sample: &str, preparation: Option<&str>, octane: f64) -> Flask {
        let note = if octane > 0.0 {
            "simulated"
        } else {
            "simulated; no internal standard added: shows whether the eluent holds octane"
        };
        Flask {
            dilution: Some(DILUTION),
            note: Some(note.to_owned()),
            ..self.made(sample, Kind::Sample, preparation, [None, None, None, Some(octane)])
        }
    }

    /// Draws what the pipettes did and works out what the flask holds.
    fn fill(&self, index: usize, flask: &mut Flask) {
        let mut random = Xoshiro256PlusPlus::stream(self.seed, 2 + index as u64);
        let mut pipetted = |what: &str| {
            let f = self.preparation.pipetted(&mut random);
            flask.factors.push(factor(what, f));
            f
        };
        let stocks = if flask.kind == Kind::CheckStandard { &self.stocks.second } else { &self.stocks.first };
        let stated = &flask.stated_percent;
        let mut held = [0.0; 6];
        let added = |j: usize| stated[j].filter(|p| *p > 0.0).map(|p| 0.01 * p * stocks[j]);
        if flask.dilution.is_some() {
            let volume = pipetted("sample pipetted");
            for j in [ALCOHOL, ESTER, HEPTANE] {
                held[j] = self.sample[j] / DILUTION * volume;
            }
        } else {
            for j in [ALCOHOL, ESTER, HEPTANE] {
                if let Some(content) = added(j) {
                    held[j] = content * pipetted(&format!("{} pipetted", COMPOUNDS[j].0));
                }
            }
        }
        if let Some(content) = added(OCTANE) {
            held[OCTANE] = content * pipetted("internal standard pipetted");
        }
        let solvent = 1.0 - held.iter().sum::<f64>();
        (held[NONANE], held[DECANE]) = (NONANE_IN_DECANE * solvent, (1.0 - NONANE_IN_DECANE) * solvent);
        flask.true_fractions = held.to_vec();
        // The log speaks of what is quantified.
        flask.stated_percent[HEPTANE] = None;
    }
}

/// The injections with their clock times.
fn plan(flasks: &[Flask]) -> Vec<PlannedInjection> {
    let mut injections = Vec::new();
    for (day, runs) in DAYS.iter().zip(PLAN) {
        for (i, run) in runs.iter().enumerate() {
            let minutes = 9 * 60 + i * MINUTES_APART;
            let (flask, replicate) = flask_of(run, flasks);
            injections.push(PlannedInjection {
                run: (*run).to_owned(),
                flask,
                replicate,
                time: format!("{day} {:02}:{:02}", minutes / 60, minutes % 60),
            });
        }
    }
    injections
}

/// `level-3-4` is level 3, flask B, shot 2; `eluent-C-1` is flask C, shot 1.
fn flask_of(run: &str, flasks: &[Flask]) -> (usize, String) {
    let parts: Vec<&str> = run.split('-').collect();
    let last: usize = parts[parts.len() - 1].parse().unwrap_or(1);
    let (sample, preparation, replicate) = match parts[0] {
        "level" => (format!("level {}", parts[1]), Some(if last <= 2 { "A" } else { "B" }), (last - 1) % 2 + 1),
        "check" => ("check standard".to_owned(), None, last),
        "eluent" if parts[1] == "no" => (SAMPLE_WITHOUT.to_owned(), None, last),
        "eluent" => (SAMPLE.to_owned(), Some(parts[1]), last),
        _ => (format!("{} blank", parts[1]), None, last),
    };
    let flask = flasks.iter().position(|f| f.sample == sample && f.preparation.as_deref() == preparation);
    (flask.expect("every run of the plan has its flask"), replicate.to_string())
}
