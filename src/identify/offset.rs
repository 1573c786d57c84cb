//! How much later a whole run was started than its reference.

use crate::identify::ReferenceTime;
use crate::peaks::PeakList;

/// The common offset of a run's retention times in seconds, positive where all peaks come late; none where fewer than
/// two references agree on one.
///
/// Every difference between a peak and a reference is tried as offset; the one on which most references have a peak
/// close by (sum of normal curves a quarter of a half-height width wide, or as wide as the reference scatters) wins,
/// small offsets before large ones. It is then the mean of the matched differences, each weighted down by
/// (1 - (d/4s)²)² as it strays from their median (A. E. Beaton and J. W. Tukey, Technometrics 16 (1974) 147-185), s
/// their median absolute deviation times 1.4826 or the reference's own scatter.
pub(super) fn start_offset_s(peaks: &PeakList, references: &[&ReferenceTime], largest_s: f64) -> Option<f64> {
    if references.len() < 2 || peaks.peaks.len() < 2 || largest_s <= 0.0 {
        return None;
    }
    let largest = largest_s / 60.0;
    let times: Vec<f64> = peaks.peaks.iter().map(|p| p.retention_time_min).collect();
    let width = |r: &ReferenceTime| {
        // A stated time says nothing of widths or scatter: its window's third.
        let shape = if r.width_half_min > 0.0 { 0.25 * r.width_half_min } else { r.half_width_min / 3.0 };
        shape.max(r.time_sd_min.unwrap_or(0.0))
    };
    let nearest = |t: f64| -> f64 {
        let k = times.partition_point(|&x| x < t);
        let before = k.checked_sub(1).map_or(f64::INFINITY, |k| t - times[k]);
        let after = times.get(k).map_or(f64::INFINITY, |x| x - t);
        if before < after { -before } else { after }
    };
    let score = |offset: f64| -> f64 {
        let close: f64 = references
            .iter()
            .map(|r| {
                let d = nearest(r.time_min + offset) / width(r);
                libm::exp(-0.5 * d * d)
            })
            .sum();
        // The late thumb is more often a little late than very late.
        close - 0.5 * (offset / largest) * (offset / largest)
    };
    let tried =
        references.iter().flat_map(|r| times.iter().map(move |t| t - r.time_min)).filter(|d| d.abs() <= largest);
    let (start, _) = tried.map(|d| (d, score(d))).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let matched = references.iter().map(|r| (nearest(r.time_min + start), width(r), r.time_sd_min.unwrap_or(0.0)));
    let matched: Vec<(f64, f64)> = matched.filter(|(d, w, _)| d.abs() < 4.0 * w).map(|(d, _, sd)| (d, sd)).collect();
    if matched.len() < 2 {
        return None;
    }
    let mut centre = median(matched.iter().map(|m| m.0).collect());
    let spread = 1.4826 * median(matched.iter().map(|m| (m.0 - centre).abs()).collect());
    for _ in 0..20 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (d, sd) in &matched {
            // A hundredth of a second keeps the scale from vanishing.
            let scale = spread.max(*sd).max(0.01 / 60.0);
            let x = (d - centre) / (4.0 * scale);
            if x.abs() < 1.0 {
                let w = (1.0 - x * x) * (1.0 - x * x) / (scale * scale);
                sum += w * (d - centre);
                weights += w;
            }
        }
        if weights <= 0.0 {
            break;
        }
        let step = sum / weights;
        centre += step;
        if step.abs() < 1e-9 {
            break;
        }
    }
    let offset = start + centre;
    (offset.abs() <= largest).then_some(60.0 * offset)
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    0.5 * (values[(n - 1) / 2] + values[n / 2])
}
