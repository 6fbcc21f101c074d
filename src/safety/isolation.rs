//! How a machine is made safe: a prompt in the order of 29 CFR 1910.147(d) and (e), computed from its energies.
//! It never replaces the site's own written procedure, and says so first.

use super::exposure::{Exposure, Exposures, words};
use std::fmt;

use serde::{Deserialize, Serialize};

words! {
    /// Every kind of energy that can hurt somebody at these machines.
    Energy {
        /// The main electrical supply.
        Mains = "mains",
        /// A second feed: heater, light, interlock supply from a neighbour, battery.
        SecondFeed = "second-feed",
        /// Charge left in drives and controllers.
        DriveCharge = "drive-charge",
        /// Compressed air, also trapped air.
        CompressedAir = "compressed-air",
        /// Raised hoppers, lids, hung product.
        Gravity = "gravity",
        /// Springs under load.
        Springs = "springs",
        /// The vibrating tray.
        TrayMotion = "tray-motion",
        /// The auger.
        Auger = "auger",
        /// The agitator.
        Agitator = "agitator",
        /// A flap or gate.
        FlapMotion = "flap-motion",
        /// Conveyors, baggers and other neighbours that move.
        NeighbourMotion = "neighbour-motion",
        /// A neighbour's hot parts.
        NeighbourHeat = "neighbour-heat",
        /// Dust extraction that can start or pull.
        DustExtraction = "dust-extraction",
        /// Dust that can burn as a cloud.
        ProductDust = "product-dust",
    }
}

impl Energy {
    /// What to do with this energy once its isolation point is locked; every kind has its line.
    pub fn release(self) -> &'static str {
        match self {
            Energy::Mains => "Switch off, lock and tag; a push button or a stop is not an isolator.",
            Energy::SecondFeed => {
                "Find every second feed and lock each; it stays live when the main one is off."
            }
            Energy::DriveCharge => "Wait the time on the drive's label; a dark lamp proves nothing.",
            Energy::CompressedAir => "Shut, lock and dump; read the gauge at zero and stroke one valve.",
            Energy::Gravity => "Lower it or block it; air or a winch holding it up is not a block.",
            Energy::Springs => "Let the spring down or hold it captive before you undo anything.",
            Energy::TrayMotion => "The lock on its supply stops the tray; nought on the dial does not.",
            Energy::Auger => "Wait until it stands still, then try it.",
            Energy::Agitator => "It can turn with the auger; lock both and try both.",
            Energy::FlapMotion => {
                "A flap can move when air comes back, even with the control off; dump the air."
            }
            Energy::NeighbourMotion => "Lock the neighbour too, or agree who holds it and how it is held.",
            Energy::NeighbourHeat => "Lock its heat off and let it cool, or keep it covered.",
            Energy::DustExtraction => "Lock the fan only as the site's dust rules say.",
            Energy::ProductDust => {
                "No blowing, no sparks, no hot work; lift dust with a vacuum rated for it."
            }
        }
    }

    /// Whether it moves or holds parts that can catch a hand; those are off even when the scale stays on.
    pub fn moves(self) -> bool {
        !matches!(self, Energy::Mains | Energy::SecondFeed | Energy::DriveCharge | Energy::ProductDust)
    }
}

/// One energy of a machine and where it is shut off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EnergyPoint {
    /// Which energy.
    pub energy: Energy,
    /// The point that isolates it, in words.
    pub isolated_by: String,
}

/// Whether the scale can stay powered while every drive is locked off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ScaleSupply {
    /// Its own supply.
    Separate,
    /// The same as the drives'.
    Shared,
    /// Nobody knows yet.
    Unknown,
}

/// The prompt for one lockout.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Isolation {
    /// Asked before anything else; without a written procedure only checks from outside are left.
    pub first_question: &'static str,
    /// Steps up to the moment hands go in.
    pub before: Vec<String>,
    /// Steps from the end of the work to running again.
    pub after: Vec<String>,
}

impl Isolation {
    /// Works out the prompt for a machine's energies and the exposures of the work.
    pub fn of(energies: &[EnergyPoint], start_paths: &[String], exposures: &Exposures) -> Option<Self> {
        if !exposures.needs_isolation() {
            return None;
        }
        let scale_stays_on = exposures.has(Exposure::AtScale);
        let mut before = vec![
            "Prepare: know each energy, its size and its isolation point.".to_owned(),
            "Tell everybody whom the stop affects.".to_owned(),
            "Stop the machine the normal way, with product run out.".to_owned(),
        ];
        for point in energies {
            before.push(format!(
                "Isolate {}: {}. {}",
                point.energy,
                point.isolated_by,
                point.energy.release()
            ));
        }
        if scale_stays_on {
            before.push(
                "Only the scale stays powered. If it shares a supply with a drive, stop: test from outside."
                    .to_owned(),
            );
        }
        if !start_paths.is_empty() {
            before.push(format!("Isolate every start path: {}.", start_paths.join(", ")));
        }
        before.extend(
            [
                "Put your own lock and tag on each point; the key stays with you.",
                "Release what is stored: air, springs, raised parts, charge.",
                "Clear people, then try to start. Nothing may move.",
                "Put the controls back to off. Read the air gauge at zero and stroke a valve.",
            ]
            .map(str::to_owned),
        );
        if energies
            .iter()
            .any(|p| matches!(p.energy, Energy::Mains | Energy::SecondFeed | Energy::DriveCharge))
        {
            before.push(
                "Before anybody touches a conductor: a qualified person proves it dead with a meter."
                    .to_owned(),
            );
        }
        Some(Self {
            first_question: "Have you this machine's written isolation procedure, and does it agree? \
                             If there is none: stop, checks from outside only.",
            before,
            after: [
                "Count tools and parts out.",
                "Put every guard back. See that people are clear.",
                "Each person takes off their own lock.",
                "Tell those affected, then restore from outside.",
            ]
            .map(str::to_owned)
            .to_vec(),
        })
    }

    /// Asked between two steps of one lockout.
    pub const STILL_LOCKED: &'static str = "Still locked? Whose key?";
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points() -> Vec<EnergyPoint> {
        Energy::ALL
            .iter()
            .map(|&energy| EnergyPoint { energy, isolated_by: format!("point of {energy}") })
            .collect()
    }

    #[test]
    fn every_energy_of_the_machine_has_its_line_and_trying_comes_after_locking() {
        let inside = Exposures::at(&super::super::Traits(vec![super::super::Trait::Guarded]), &[]);
        let isolation = Isolation::of(&points(), &["the start key".to_owned()], &inside).unwrap();
        for energy in Energy::ALL {
            assert!(isolation.before.iter().any(|s| s.contains(&format!("point of {energy}"))), "{energy}");
        }
        let at = |word: &str| isolation.before.iter().position(|s| s.contains(word)).unwrap();
        assert!(at("Stop the machine") < at("Isolate mains"));
        assert!(
            at("own lock") < at("Release what is stored")
                && at("Release what is stored") < at("try to start")
        );
    }

    #[test]
    fn work_from_outside_needs_no_lockout() {
        assert!(Isolation::of(&points(), &[], &Exposures::outside()).is_none());
    }
}
