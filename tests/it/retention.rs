//! Retention indices, hold-up time and the late thumb against published examples and independent integrals.

use vialbook::identify::{
    AlkanePeak, HoldUp, IndexKind, Ladder, Programme, ProgrammeStep, RetentionLaw, n_alkane_carbons,
};
use vialbook::numeric::Xoshiro256PlusPlus as Random;
use vialbook::simulate::{OvenProgramme, RetentionConstants, recorded_retention};
use vialbook::study::{OvenStep, StartButton};

fn alkane(carbons: u32, time_min: f64) -> AlkanePeak {
    AlkanePeak { carbons, time_min, u_min: 0.0 }
}

fn hold_up(time_min: f64, u_min: f64) -> HoldUp {
    HoldUp { time_min, u_min, origin: "test".into() }
}

/// D. T. Harvey, Analytical Chemistry 2.x, chapter 12, example on isobutane between propane and butane: 386
/// (385.816 unrounded). Its times are adjusted ones, so the hold-up time is 0.
#[test]
fn the_kovats_index_of_isobutane_is_that_of_the_textbook() {
    let ladder = Ladder::new(vec![alkane(3, 2.23), alkane(4, 6.67)]).expect("a ladder");
    let index = ladder.kovats(5.71, 0.0, &hold_up(0.0, 0.0)).expect("inside");
    assert!((index.value - 385.816_15).abs() < 1e-5, "{index:?}");
    assert_eq!((index.value.round(), index.kind, index.between), (386.0, IndexKind::Kovats, [3, 4]));
    // The same column with a hold-up time of 0.4 min: adjusted times are what counts.
    let ladder = Ladder::new(vec![alkane(4, 7.07), alkane(3, 2.63)]).expect("a ladder");
    let again = ladder.kovats(6.11, 0.0, &hold_up(0.4, 0.0)).expect("inside");
    assert!((again.value - index.value).abs() < 1e-9);
}

/// H. van den Dool, P. D. Kratz, J. Chromatogr. 11 (1963) 463: the definition, by hand; and alkanes are 100 n.
#[test]
fn linear_indices_follow_their_definition() {
    let ladder = Ladder::new(vec![alkane(8, 4.0), alkane(9, 6.0), alkane(11, 10.5)]).expect("a ladder");
    for (time, index, between) in
        [(4.0, 800.0, [8, 9]), (5.0, 850.0, [8, 9]), (6.9, 900.0 + 200.0 * 0.2, [9, 11]), (10.5, 1100.0, [9, 11])]
    {
        let got = ladder.linear(time, 0.0).expect("inside");
        assert!((got.value - index).abs() < 1e-9 && got.between == between, "{time}: {got:?}");
    }
    assert!(ladder.linear(3.9, 0.0).is_none() && ladder.linear(10.6, 0.0).is_none(), "nothing is extrapolated");
    assert_eq!(n_alkane_carbons("n-Octane"), Some(8));
    assert_eq!(n_alkane_carbons("isooctane"), None);
}

/// The stated u against 20,000 draws of all times (JCGM 101).
#[test]
fn the_uncertainty_of_an_index_is_that_of_draws() {
    let mut random = Random::seeded(11);
    let (t, a, b, zero) = (6.1, 5.0, 8.0, 1.0);
    let (ut, ua, ub, u0, us) = (0.01, 0.015, 0.02, 0.03, 0.02);
    let ladder = |da: f64, db: f64, u: [f64; 2]| {
        let peaks = vec![
            AlkanePeak { carbons: 7, time_min: a + da, u_min: u[0] },
            AlkanePeak { carbons: 8, time_min: b + db, u_min: u[1] },
        ];
        Ladder::new(peaks).expect("a ladder")
    };
    let stated = ladder(0.0, 0.0, [ua, ub]).with_start_uncertainty(us);
    let (kovats, linear) =
        (stated.kovats(t, ut, &hold_up(zero, u0)).expect("inside"), stated.linear(t, ut).expect("inside"));
    let (mut k, mut l) = (Vec::new(), Vec::new());
    for _ in 0..20_000 {
        let start = us * random.normal();
        let drawn = ladder(ua * random.normal() + start, ub * random.normal() + start, [0.0; 2]);
        let (x, t0) = (t + ut * random.normal(), zero + u0 * random.normal());
        k.push(drawn.kovats(x, 0.0, &hold_up(t0, 0.0)).expect("inside").value);
        l.push(drawn.linear(x, 0.0).expect("inside").value);
    }
    let sd = |v: &[f64]| vialbook::numeric::sample_sd(v).expect("many");
    // The standard error of a standard deviation of 20,000 is 0.5 %.
    assert!((sd(&k) / kovats.u - 1.0).abs() < 0.03, "{} {}", sd(&k), kovats.u);
    assert!((sd(&l) / linear.u - 1.0).abs() < 0.03, "{} {}", sd(&l), linear.u);
}

/// M. L. Peterson, J. Hirsch, J. Lipid Res. 1 (1959) 132: t₀ = (t₁t₃ - t₂²)/(t₁ + t₃ - 2t₂) for three neighbours; and a
/// longer ladder, with a gap, made of t = 0.5 + exp(-1.2 + 0.55 n).
#[test]
fn the_ladder_gives_the_hold_up_time() {
    let (t1, t2, t3): (f64, f64, f64) = (2.10, 3.05, 4.85);
    let three =
        Ladder::new(vec![alkane(6, t1), alkane(7, t2), alkane(8, t3)]).expect("a ladder").hold_up().expect("bent");
    assert!((three.time_min - (t1 * t3 - t2 * t2) / (t1 + t3 - 2.0 * t2)).abs() < 1e-9, "{three:?}");
    let at = |n: u32| 0.5 + (-1.2 + 0.55 * f64::from(n)).exp();
    let exact: Vec<AlkanePeak> = [5, 6, 7, 9, 10].map(|n| alkane(n, at(n))).to_vec();
    let long = Ladder::new(exact).expect("a ladder").hold_up().expect("converges");
    assert!((long.time_min - 0.5).abs() < 1e-8, "{long:?}");

    // u against draws: scatter of 0.2 s on each alkane.
    let mut random = Random::seeded(12);
    let drawn = |random: &mut Random| {
        let peaks = [5, 6, 7, 8, 9].map(|n| AlkanePeak {
            carbons: n,
            time_min: at(n) + 0.2 / 60.0 * random.normal(),
            u_min: 0.2 / 60.0,
        });
        Ladder::new(peaks.to_vec()).expect("a ladder").hold_up().expect("converges")
    };
    let (mut times, mut us) = (Vec::new(), Vec::new());
    for _ in 0..2000 {
        let h = drawn(&mut random);
        times.push(h.time_min);
        us.push(h.u_min);
    }
    let sd = vialbook::numeric::sample_sd(&times).expect("many");
    let u = vialbook::numeric::median(&us).expect("many");
    // u takes the larger of stated and seen scatter: a little cautious.
    assert!(u / sd > 0.97 && u / sd < 1.4, "{u} {sd}");

    let straight = Ladder::new((6..10).map(|n| alkane(n, f64::from(n))).collect()).expect("a ladder");
    assert!(straight.hold_up().expect_err("a programme").to_string().contains("isothermal"));
    let two = Ladder::new(vec![alkane(6, 2.0), alkane(7, 3.0)]).expect("a ladder");
    assert!(two.hold_up().expect_err("two").to_string().contains("at least 3"));
}

#[test]
fn ladders_that_make_no_sense_are_refused() {
    for (peaks, word) in [
        (vec![alkane(6, 2.0)], "at least 2"),
        (vec![alkane(6, 2.0), alkane(6, 3.0)], "two peaks"),
        (vec![alkane(6, 3.0), alkane(7, 2.0)], "does not come after"),
        (vec![alkane(6, f64::NAN), alkane(7, 2.0)], "numbers are wanted"),
    ] {
        assert!(Ladder::new(peaks).expect_err(word).to_string().contains(word));
    }
}

/// Retention times under a linear programme by 30-digit quadrature of ∫ dt/(t₀(1 + k)) = 1, ln k = a + b/T (constants
/// chosen here; formula after J. C. Giddings, J. Chem. Educ. 39 (1962) 569).
#[test]
fn retention_under_a_ramp_is_that_of_exact_quadrature() {
    for (a, b, start_k, ramp, hold_up, time, k) in [
        (-9.0, 3800.0, 313.15, 10.0, 1.0, 7.057_904_744_029_32, 22.983_112),
        (-9.5, 4300.0, 313.15, 10.0, 1.0, 9.651_857_011_065_97, 68.816_16),
        (-10.0, 4800.0, 313.15, 10.0, 1.0, 12.166_615_399_734_6, 206.049_72),
        (-9.0, 3800.0, 333.15, 5.0, 1.2, 7.975_178_200_966_84, 11.092_547),
    ] {
        let start_c = start_k - 273.15;
        let steps = vec![
            ProgrammeStep { temperature_c: start_c, ramp_c_per_min: None, hold_min: 0.0 },
            ProgrammeStep { temperature_c: start_c + 300.0, ramp_c_per_min: Some(ramp), hold_min: 0.0 },
        ];
        let programme = Programme::new(steps, hold_up, RetentionLaw::VantHoff(b)).expect("a programme");
        let exact_k: f64 = (a + b / start_k).exp();
        assert!((exact_k / k - 1.0).abs() < 1e-6);
        let got = programme.elution_min(exact_k).expect("elutes");
        assert!((got - time).abs() < 1e-6, "{got} {time}");
        assert!((programme.start_retention_factor(time) / k - 1.0).abs() < 1e-5);
    }
}

fn ramp(law: RetentionLaw) -> Programme {
    let steps = vec![
        ProgrammeStep { temperature_c: 40.0, ramp_c_per_min: None, hold_min: 1.0 },
        ProgrammeStep { temperature_c: 300.0, ramp_c_per_min: Some(10.0), hold_min: 0.0 },
    ];
    Programme::new(steps, 0.5, law).expect("a programme")
}

/// The bench's table: 40 °C, 1 min hold, 10 °C/min, hold-up 0.5 min, 4 %/K; a thumb 2 s off shifts peaks of k at start
/// 0.3, 3, 10, 30, 100 by 2.0, 1.6, 0.8, 0.3, 0.1 s.
#[test]
fn the_late_thumb_follows_its_table_to_a_twentieth_of_a_second() {
    let programme = ramp(RetentionLaw::PerKelvin(0.04));
    for (k, shift_s) in [(0.3, 2.0), (3.0, 1.6), (10.0, 0.8), (30.0, 0.3), (100.0, 0.1)] {
        let time = programme.elution_min(k).expect("elutes");
        let got = 2.0 * programme.late_start_share(time);
        assert!((got - shift_s).abs() < 0.05, "k {k}: {got} s, table {shift_s} s");
    }
    // Where the button starts the recording only, nothing of it falls: an isothermal oven says the same.
    let hold = Programme::new(
        vec![ProgrammeStep { temperature_c: 40.0, ramp_c_per_min: None, hold_min: 0.0 }],
        0.5,
        RetentionLaw::PerKelvin(0.04),
    )
    .expect("a programme");
    assert!((hold.late_start_share(5.0) - 1.0).abs() < 1e-9);
}

/// The share, of first order in δ, against the simulation's own integral, which has no such approximation.
#[test]
fn the_late_thumb_agrees_with_the_simulated_column() {
    let b = 3900.0;
    let programme = ramp(RetentionLaw::VantHoff(b));
    let step = |temperature_c, ramp_c_per_min, hold_min| OvenStep { temperature_c, ramp_c_per_min, hold_min };
    let oven = OvenProgramme::new(&[step(40.0, None, 1.0), step(300.0, Some(10.0), 0.0)]).expect("an oven");
    for k in [0.3, 3.0, 10.0, 30.0, 100.0] {
        let constants = RetentionConstants::from_factor(k, 40.0, b);
        let at = |offset_s: f64| {
            let button = StartButton::OvenAndRecording;
            recorded_retention(constants, &oven, 0.5, button, offset_s).expect("elutes").time_min
        };
        for late_s in [-3.0, -1.0, 1.0, 3.0] {
            let exact = 60.0 * (at(0.0) - at(late_s));
            let share = programme.late_start_share(at(0.0));
            assert!((exact - late_s * share).abs() < 0.02, "k {k}, {late_s} s: {exact} {}", late_s * share);
        }
    }
}

#[test]
fn programmes_that_make_no_sense_are_refused() {
    let step = |temperature_c, ramp_c_per_min| ProgrammeStep { temperature_c, ramp_c_per_min, hold_min: 0.0 };
    let law = RetentionLaw::PerKelvin(0.04);
    for (steps, hold_up, law, word) in [
        (vec![], 0.5, law, "without a step"),
        (vec![step(40.0, Some(1.0))], 0.5, law, "has a ramp"),
        (vec![step(40.0, None), step(80.0, None)], 0.5, law, "step 2"),
        (vec![step(40.0, None)], 0.0, law, "hold-up time of 0"),
        (vec![step(40.0, None)], 0.5, RetentionLaw::PerKelvin(-1.0), "changes by -1"),
    ] {
        assert!(Programme::new(steps, hold_up, law).expect_err(word).to_string().contains(word), "{word}");
    }
}
