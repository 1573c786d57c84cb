//! Profiles against values of 40-digit arithmetic and an exact table.
#![allow(clippy::excessive_precision)] // digits as 60-digit arithmetic gives them

use vialbook::shapes::{ExponentiallyModifiedGaussian as Emg, Gaussian, HaarhoffVanDerLinde as Hvl};

use super::emg_table;

fn close(got: f64, want: f64, relative: f64, what: &str) {
    assert!((got - want).abs() <= relative * want.abs(), "{what}: got {got:e}, want {want:e}");
}

/// Closed form in 60-digit arithmetic, unit area and sigma, centre 0.
#[test]
fn emg_values_agree_with_60_digit_arithmetic() {
    #[rustfmt::skip]
    let table = [
        (0.00001, -5.0, 1.4866451823265242963e-6), (0.00001, 0.0, 0.39894228036153844991),
        (0.00001, 3.0, 0.00443198137093592382), (0.00001, 7.0, 9.1353598826427783973e-12),
        (0.003, -5.0, 1.4647354947377272287e-6), (0.003, 0.5, 0.35259103528815942263),
        (0.003, 7.0, 9.3305767451259416819e-12),
        (0.3, -5.0, 5.8646999249068194713e-7), (0.3, 0.5, 0.37509895309488072186),
        (0.3, 3.0, 0.014461939452528898481), (0.3, 7.0, 6.3392020224572362565e-8),
        (1.0, -5.0, 2.4141003721228114117e-7), (1.0, -1.0, 0.10195901770090357863),
        (1.0, 3.0, 0.08021755407423898893), (1.0, 7.0, 0.0015034391914942979145),
        (1.0, 30.0, 1.542811203191887833e-13),
        (5.0, -5.0, 5.5266589776055968033e-8), (5.0, 0.0, 0.085847961646694738967),
        (5.0, 30.0, 0.00050576525844585132376),
        (1000.0, -5.0, 2.8659811989380232962e-10), (1000.0, 0.5, 0.00069076518457785608036),
        (1000.0, 7.0, 0.000993024939444300711),
        (1e8, -5.0, 2.8665157134457735926e-15), (1e8, 0.0, 4.9999999601057722099e-9),
        (1e8, 30.0, 9.9999970000004505e-9),
    ];
    for (tau, t, want) in table {
        let peak = Emg::new(1.0, 0.0, 1.0, tau).expect("valid");
        close(peak.value(t), want, 2e-14, &format!("tau {tau}, t {t}"));
    }
}

#[test]
fn emg_apex_and_moments_agree_with_the_exact_table() {
    for row in emg_table() {
        let peak = Emg::new(1.0, 0.0, 1.0, row.tau).expect("valid");
        let (apex, moments) = (peak.apex(), peak.moments());
        assert!((apex.time_min - row.apex).abs() < 1e-13, "tau {}: apex {}", row.tau, apex.time_min);
        close(apex.height, row.height, 3e-15, "height");
        close(moments.variance_min2, 1.0 + row.tau * row.tau, 1e-15, "variance");
        assert!((moments.skewness - row.skew).abs() < 1e-14);
    }
}

/// f' = (g - f)/τ: at the apex the profile meets its own Gaussian, whatever τ.
#[test]
fn emg_apex_is_where_profile_and_gaussian_meet_from_no_tail_to_nothing_but_tail() {
    for exponent in -80..=80 {
        let tau = 10_f64.powf(f64::from(exponent) / 10.0);
        let peak = Emg::new(1.0, 3.0, 0.01, 0.01 * tau).expect("valid");
        let apex = peak.apex();
        // Where σ/τ is large, one ulp of the time is many of the height.
        close(peak.value(apex.time_min), apex.height, 1e-12, &format!("tau/sigma {tau}"));
    }
}

#[test]
fn what_is_added_to_a_trace_sums_to_the_area() {
    let time: Vec<f64> = (0..60_001).map(|i| f64::from(i) * 1e-3).collect();
    let sum = |add: &dyn Fn(&mut [f64])| {
        let mut y = vec![0.0; time.len()];
        add(&mut y);
        y.iter().sum::<f64>() * 1e-3
    };
    for tau in [0.0, 1e-9, 1e-4, 0.003, 0.02, 0.2, 0.6] {
        let peak = Emg::new(2.5, 6.0, 0.02, tau).expect("valid");
        close(sum(&|y| peak.add_to(&time, y)), 2.5, 2e-12, &format!("tail {tau}"));
        let mut y = vec![0.0; time.len()];
        peak.add_to(&time, &mut y);
        let apex = peak.apex().height;
        assert!(time.iter().zip(&y).all(|(&t, &v)| (v - peak.value(t)).abs() < 2e-13 * apex), "tail {tau}");
    }
    let gaussian = Gaussian::new(-1.0, 5.0, 0.01).expect("valid");
    close(sum(&|y| gaussian.add_to(&time, y)), -1.0, 1e-13, "gaussian");
    for load in [0.0, 1e-12, 0.1, 3.0, -3.0, 60.0, -60.0, 500.0, -500.0] {
        let peak = Hvl::new(2.5, 30.0, 0.05, load).expect("valid");
        close(sum(&|y| peak.add_to(&time, y)), 2.5, 1e-12, &format!("load {load}"));
    }
    // A profile half outside the trace, and slices of unequal length, add what they can.
    let mut short = vec![0.0; 10];
    gaussian.add_to(&time[4_995..], &mut short);
    assert!(short.iter().all(|&v| v < 0.0));
}

/// Closed form in 60-digit arithmetic, unit area and sigma, centre 0.
#[test]
fn overloaded_peak_agrees_with_60_digit_arithmetic() {
    #[rustfmt::skip]
    let table = [
        (0.001, -6.0, 6.07284592079839272e-9), (0.001, 0.0, 0.39894224715624596901), (0.001, 9.0, 1.0284915172178754109e-18),
        (1.0, -1.0, 0.17000426995580865575), (1.0, 2.0, 0.08928157813991357702), (1.0, 12.0, 3.6880921698898793489e-32),
        (8.0, -6.0, 7.5923057802325322619e-10), (8.0, 2.0, 0.29233979148153871068), (8.0, 10.0, 2.86619757934176352e-20),
        (50.0, 0.0, 0.015957691216057307118), (50.0, 9.0, 0.1818596651791297993), (50.0, 10.0, 0.0076756077217242569981),
        (50.0, 12.0, 2.2256735241318288535e-12),
        (5000.0, -6.0, 1.215176571163535289e-12), (5000.0, 99.9, 0.019756250382600794919),
        (5000.0, 100.0, 0.000079471442589962155596),
    ];
    for (load, u, want) in table {
        // exp(u²/2 - λ) carries an absolute error of λ · 1e-16 in its exponent.
        let tolerance = 1e-14 + 3e-16 * load;
        close(Hvl::new(1.0, 0.0, 1.0, load).expect("valid").value(u), want, tolerance, &format!("{load}, {u}"));
        close(Hvl::new(1.0, 0.0, 1.0, -load).expect("valid").value(-u), want, tolerance, "mirror image");
    }
}

#[test]
fn overloaded_peak_goes_from_gaussian_to_fin() {
    let none = Hvl::new(1.0, 5.0, 0.02, 0.0).expect("valid");
    let gaussian = Gaussian::new(1.0, 5.0, 0.02).expect("valid");
    for i in 0..200 {
        let t = 4.9 + f64::from(i) * 1e-3;
        close(none.value(t), gaussian.value(t), 1e-15, "no load");
    }
    assert_eq!(none.apex().time_min, 5.0);
    let m = none.moments();
    assert!((m.variance_min2 - 4e-4).abs() < 1e-15 && m.skewness.abs() < 1e-12 && m.excess.abs() < 1e-12);

    // A triangle of base √(2λ) σ has mean 2/3 and variance 1/18 of the base, skewness -0.5657, excess -0.6.
    let fin = Hvl::new(1.0, 0.0, 1.0, 50_000.0).expect("valid");
    let (m, base) = (fin.moments(), 100_000_f64.sqrt());
    close(m.mean_min, base * 2.0 / 3.0, 1e-3, "mean");
    close(m.variance_min2, base * base / 18.0, 1e-3, "variance");
    close(m.skewness, -0.565_685, 2e-3, "skewness");
    close(m.excess, -0.6, 3e-3, "excess");
    let apex = fin.apex();
    assert!(apex.time_min < base && apex.time_min > 0.99 * base && apex.height < 2.0 / base);
    for t in [apex.time_min * (1.0 - 1e-6), apex.time_min * (1.0 + 1e-6)] {
        assert!(fin.value(t) < apex.height);
    }
}

#[test]
fn impossible_shapes_are_refused_and_give_nothing_but_zero() {
    assert!(Gaussian::new(1.0, 0.0, 0.0).is_err());
    assert!(Gaussian::new(f64::NAN, 0.0, 1.0).is_err());
    assert!(Emg::new(1.0, 0.0, 0.0, 0.0).is_err());
    assert!(Emg::new(1.0, 0.0, 1.0, -0.1).is_err());
    assert!(Emg::new(1.0, 0.0, 0.0, 0.1).is_ok());
    assert!(Hvl::new(1.0, 0.0, 1.0, f64::INFINITY).is_err());
    let odd = Emg { area: 1.0, centre_min: 0.0, sigma_min: -1.0, tau_min: 0.2 };
    assert_eq!((odd.value(0.1), odd.apex().height), (0.0, 0.0));
    let bare = Emg { area: 1.0, centre_min: 0.0, sigma_min: 0.0, tau_min: 0.5 };
    assert_eq!((bare.value(-0.1), bare.value(0.0)), (0.0, 2.0));
}
