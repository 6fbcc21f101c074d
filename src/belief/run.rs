//! A run of fills as an answer about those of its findings that anything drives.

use super::evidence::{BeliefError, joint_states_up_to};
use super::network::{Finding, Network};

/// Largest joint table of one run.
const MOST_ENTRIES: usize = 1 << 20;

/// P(run | states of the findings held), the last fastest: its floor, and for each combination above it what is above,
/// times the chance that the findings not held, which only their leak drives, are as the combination says.
pub(crate) fn likelihood(
    network: &Network,
    findings: &[usize],
    floor: f64,
    combos: &[(Vec<usize>, f64)],
    held: &[bool],
) -> Result<Vec<f64>, BeliefError> {
    let kept: Vec<usize> = findings.iter().zip(held).filter(|(_, held)| **held).map(|(&f, _)| f).collect();
    let Some(states) = joint_states_up_to(MOST_ENTRIES, network, &kept) else {
        let sizes = kept.iter().map(|&finding| network.findings()[finding].degrees as f64 + 1.0);
        return Err(BeliefError::TooLarge { cost: sizes.product() });
    };
    let mut likelihood = vec![floor; states];
    for (degrees, value) in combos {
        let (mut place, mut chance) = (0, 1.0);
        for ((&finding, &degree), held) in findings.iter().zip(degrees).zip(held) {
            let finding = &network.findings()[finding];
            if *held {
                place = place * (finding.degrees + 1) + degree;
            } else {
                chance *= by_leak(finding, degree);
            }
        }
        likelihood[place] += (value - floor) * chance;
    }
    Ok(likelihood)
}

/// P(exactly this degree) of a finding that only its leak drives.
fn by_leak(finding: &Finding, degree: usize) -> f64 {
    let reached = degree.checked_sub(1).map_or(1.0, |below| finding.leak[below]);
    reached - finding.leak.get(degree).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pattern_that_only_its_leak_drives_is_summed_out() {
        let alone = |leak: f64| Finding { degrees: 1, leak: vec![leak], parents: Vec::new() };
        let network = Network::new(Vec::new(), Vec::new(), vec![alone(0.3), alone(0.25)]).unwrap();
        let combos = [(vec![1, 0], 0.5), (vec![1, 1], 0.9)];
        let held = likelihood(&network, &[0, 1], 0.1, &combos, &[true, false]).unwrap();
        assert_eq!(held[0], 0.1);
        assert!((held[1] - (0.75 * 0.5 + 0.25 * 0.9)).abs() < 1e-15, "{held:?}");
    }
}
