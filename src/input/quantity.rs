//! The vocabulary of results: what may be asked for by name, and in which unit.

/// Not a number but a place, so known by name and never a target.
pub(super) const INSTANT_CENTRE: &str = "instant_centre";

/// A quantity that varies along the travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Curve {
    /// Rise of the rear axle in the frame, mm.
    Travel,
    /// Shortening of the shock, mm.
    Stroke,
    /// Travel per stroke, mm/mm.
    LeverageRate,
    /// Forward position of the rear axle, mm.
    AxleX,
    /// Height of the rear axle over the bottom bracket, mm.
    AxleY,
    /// Distance from bottom bracket to rear axle, mm.
    RearCentre,
    /// Rear centre less its value at top, mm.
    RearCentreGrowth,
    /// Anti-squat, percent, for each cog.
    AntiSquat,
    /// Anti-rise under the rear brake, percent.
    AntiRise,
    /// Growth of the upper chain run from top, mm, for each cog.
    ChainGrowth,
    /// Crank rotation forced by the travel, wheel not rotating in the frame, degrees, positive
    /// backward, for each cog.
    PedalKickback,
    /// Crank rotation forced by the travel, wheel held by its brake, degrees, positive backward,
    /// for each cog.
    PedalKickbackBraked,
    /// Head angle on the ground, degrees.
    HeadAngle,
    /// Head angle less its value at top, degrees, negative is slacker.
    HeadAngleChange,
    /// Height of the bottom bracket over the ground, mm.
    BbHeight,
    /// Distance between the contact points, mm.
    Wheelbase,
    /// Compression of the fork along its axis, mm.
    ForkCompression,
}

impl Curve {
    /// Every curve, in the order in which they are printed.
    pub const ALL: [Self; 17] = [
        Self::Travel,
        Self::Stroke,
        Self::LeverageRate,
        Self::AxleX,
        Self::AxleY,
        Self::RearCentre,
        Self::RearCentreGrowth,
        Self::AntiSquat,
        Self::AntiRise,
        Self::ChainGrowth,
        Self::PedalKickback,
        Self::PedalKickbackBraked,
        Self::HeadAngle,
        Self::HeadAngleChange,
        Self::BbHeight,
        Self::Wheelbase,
        Self::ForkCompression,
    ];

    /// The name in every file.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Travel => "travel",
            Self::Stroke => "stroke",
            Self::LeverageRate => "leverage_rate",
            Self::AxleX => "axle_x",
            Self::AxleY => "axle_y",
            Self::RearCentre => "rear_centre",
            Self::RearCentreGrowth => "rear_centre_growth",
            Self::AntiSquat => "anti_squat",
            Self::AntiRise => "anti_rise",
            Self::ChainGrowth => "chain_growth",
            Self::PedalKickback => "pedal_kickback",
            Self::PedalKickbackBraked => "pedal_kickback_braked",
            Self::HeadAngle => "head_angle",
            Self::HeadAngleChange => "head_angle_change",
            Self::BbHeight => "bb_height",
            Self::Wheelbase => "wheelbase",
            Self::ForkCompression => "fork_compression",
        }
    }

    /// The unit of its values.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::LeverageRate => "mm/mm",
            Self::AntiSquat | Self::AntiRise => "%",
            Self::PedalKickback
            | Self::PedalKickbackBraked
            | Self::HeadAngle
            | Self::HeadAngleChange => "deg",
            Self::Travel
            | Self::Stroke
            | Self::AxleX
            | Self::AxleY
            | Self::RearCentre
            | Self::RearCentreGrowth
            | Self::ChainGrowth
            | Self::BbHeight
            | Self::Wheelbase
            | Self::ForkCompression => "mm",
        }
    }

    /// Whether there is one value for each cog of the cassette.
    #[must_use]
    pub const fn depends_on_cog(self) -> bool {
        matches!(
            self,
            Self::AntiSquat | Self::ChainGrowth | Self::PedalKickback | Self::PedalKickbackBraked
        )
    }

    /// The curve of that name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|curve| curve.name() == name)
    }
}

/// One number about the whole travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Summary {
    /// Fall of the leverage rate from top to end, percent of that at top.
    Progression,
    /// Fall of the leverage rate from sag to end, percent of that at sag.
    ProgressionFromSag,
    /// Total travel over stroke, mm/mm.
    LeverageMean,
    /// Least leverage rate, mm/mm.
    LeverageMin,
    /// Travel at which the leverage rate is least, mm.
    LeverageMinAt,
    /// Greatest leverage rate, mm/mm.
    LeverageMax,
    /// Travel at which the leverage rate is greatest, mm.
    LeverageMaxAt,
    /// Largest deviation of the leverage rate from its chord, mm/mm.
    StraightnessMax,
    /// Root mean square deviation of the leverage rate from its chord, mm/mm.
    StraightnessRms,
    /// Largest less smallest anti-squat over the cassette at sag, percent.
    AntiSquatSpreadAtSag,
    /// Least anti-rise, percent.
    AntiRiseMin,
    /// Greatest anti-rise, percent.
    AntiRiseMax,
    /// Rearmost forward position of the rear axle, mm.
    AxleXRearmost,
    /// Rear centre at end less that at top, mm.
    RearCentreGrowth,
    /// Forward position of the rear axle at end less that at top, mm.
    AxleXGrowth,
    /// Travel at sag over total travel, mm/mm.
    SagOfTravel,
    /// Shock stroke at sag over full stroke, mm/mm.
    SagOfStroke,
}

impl Summary {
    /// Every summary quantity, in the order in which they are printed.
    pub const ALL: [Self; 17] = [
        Self::Progression,
        Self::ProgressionFromSag,
        Self::LeverageMean,
        Self::LeverageMin,
        Self::LeverageMinAt,
        Self::LeverageMax,
        Self::LeverageMaxAt,
        Self::StraightnessMax,
        Self::StraightnessRms,
        Self::AntiSquatSpreadAtSag,
        Self::AntiRiseMin,
        Self::AntiRiseMax,
        Self::AxleXRearmost,
        Self::RearCentreGrowth,
        Self::AxleXGrowth,
        Self::SagOfTravel,
        Self::SagOfStroke,
    ];

    /// The name in every file.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Progression => "progression",
            Self::ProgressionFromSag => "progression_from_sag",
            Self::LeverageMean => "leverage_mean",
            Self::LeverageMin => "leverage_min",
            Self::LeverageMinAt => "leverage_min_at",
            Self::LeverageMax => "leverage_max",
            Self::LeverageMaxAt => "leverage_max_at",
            Self::StraightnessMax => "straightness_max",
            Self::StraightnessRms => "straightness_rms",
            Self::AntiSquatSpreadAtSag => "anti_squat_spread_at_sag",
            Self::AntiRiseMin => "anti_rise_min",
            Self::AntiRiseMax => "anti_rise_max",
            Self::AxleXRearmost => "axle_x_rearmost",
            Self::RearCentreGrowth => "rear_centre_growth",
            Self::AxleXGrowth => "axle_x_growth",
            Self::SagOfTravel => "sag_of_travel",
            Self::SagOfStroke => "sag_of_stroke",
        }
    }

    /// The unit of its value.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Progression
            | Self::ProgressionFromSag
            | Self::AntiSquatSpreadAtSag
            | Self::AntiRiseMin
            | Self::AntiRiseMax => "%",
            Self::LeverageMean
            | Self::LeverageMin
            | Self::LeverageMax
            | Self::StraightnessMax
            | Self::StraightnessRms
            | Self::SagOfTravel
            | Self::SagOfStroke => "mm/mm",
            Self::LeverageMinAt
            | Self::LeverageMaxAt
            | Self::AxleXRearmost
            | Self::RearCentreGrowth
            | Self::AxleXGrowth => "mm",
        }
    }

    /// Whether there is one value for each cog: never, a summary takes the cassette as a whole.
    #[must_use]
    pub const fn depends_on_cog(self) -> bool {
        false
    }

    /// The summary quantity of that name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|summary| summary.name() == name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_is_read_back() {
        for curve in Curve::ALL {
            assert_eq!(Curve::from_name(curve.name()), Some(curve));
        }
        for summary in Summary::ALL {
            assert_eq!(Summary::from_name(summary.name()), Some(summary));
            assert!(!summary.depends_on_cog());
        }
        assert_eq!(Curve::from_name(INSTANT_CENTRE), None);
    }

    #[test]
    fn units_follow_the_quantity() {
        assert_eq!(Curve::LeverageRate.unit(), "mm/mm");
        assert_eq!(Curve::HeadAngleChange.unit(), "deg");
        assert_eq!(Summary::LeverageMinAt.unit(), "mm");
        assert_eq!(
            Curve::ALL
                .into_iter()
                .filter(|curve| curve.depends_on_cog())
                .count(),
            4
        );
    }
}
