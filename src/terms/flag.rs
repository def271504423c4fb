//! Doubts about a number that is given all the same.
//!
//! An error means that no number can be given; a flag means that one is given and doubted. Every
//! output prints the same words.

use std::fmt;

use serde::{Deserialize, Serialize};

/// A reason to doubt a reading, with its cause and what to do about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Flag {
    /// A mirror streak lay on the liquid and was left out.
    GlareRemoved,
    /// Steam or a reflection seems to lie all over the sample.
    VeilOnSample,
    /// The light falls off strongly across the card.
    UnevenLight,
    /// A shadow edge crosses the card.
    ShadowOnCard,
    /// Lamps of different colour light the card's two sides.
    MixedLight,
    /// The light is far from daylight or neutral white.
    ColouredLight,
    /// The photo is dark and noisy.
    DimPhoto,
    /// Edges are soft.
    Blurred,
    /// Some patches were too bright or too dark to use.
    PatchesClipped,
    /// The colour fit leaves more than usual.
    ColourFitCoarse,
    /// The card's colours are much stronger, paler or turned against the chart's photos.
    ColoursAltered,
    /// Light and phone show the card's colours unlike the chart's photos do.
    UnlikeChart,
    /// The card fills little of the frame.
    CardSmall,
    /// One tag was hidden; the geometry rests on three.
    ThreeTags,
    /// The colour lies a little off the chart's path.
    OffPath,
    /// The colour lies at or past the chart's lowest level.
    BelowChart,
    /// The interval reaches the chart's highest level and would go on beyond it.
    AboveChart,
    /// The photo does not say in which time zone it was taken.
    TimeZoneUnknown,
    /// The photo does not say when it was taken.
    TimeUnknown,
    /// The chart rests on printed swatches, not on standard solutions.
    ProvisionalChart,
    /// The chart is past its expiry date.
    ChartExpired,
    /// A check of this kit lay beyond its action limits.
    KitDrifted,
    /// The photo was taken too long before or after the noted waiting time.
    WaitingTimeMissed,
    /// The water was colder than the kit's leaflet allows.
    ColdWater,
    /// The strip lies the other way round.
    StripReversed,
    /// The pad is unevenly wetted or stained.
    UnevenPad,
}

impl Flag {
    /// What is the matter, in one clause.
    pub const fn cause(self) -> &'static str {
        match self {
            Self::GlareRemoved => "a reflection on the glass was left out",
            Self::VeilOnSample => {
                "steam or a reflection seems to lie all over the sample: it looks paler than it is"
            }
            Self::UnevenLight => "the light falls off strongly across the card",
            Self::ShadowOnCard => "a shadow lies on part of the card",
            Self::MixedLight => "lamps of different colour light the two sides of the card",
            Self::ColouredLight => "the light is strongly coloured",
            Self::DimPhoto => "the photo is dark and noisy",
            Self::Blurred => "the photo is not quite sharp",
            Self::PatchesClipped => "some colour patches are too bright or too dark to use",
            Self::ColourFitCoarse => "the card's colours could be matched only coarsely",
            Self::ColoursAltered => {
                "the card's colours are not as a camera shows them: an edited photo, a filter, haze, or a photo of a screen"
            }
            Self::UnlikeChart => {
                "this light and phone show the card's colours unlike the chart's own photos do: strong colours may come out wrong"
            }
            Self::CardSmall => "the card fills little of the photo",
            Self::ThreeTags => "one corner tag is hidden",
            Self::OffPath => "the colour lies a little beside the chart's colours",
            Self::BelowChart => {
                "the colour lies at or past the chart's lowest level: the value may be lower still"
            }
            Self::AboveChart => "the interval ends where the chart ends: the value may be higher still",
            Self::TimeZoneUnknown => "the photo records no time zone: local time is assumed",
            Self::TimeUnknown => "the photo records no time",
            Self::ProvisionalChart => "the chart was made from printed swatches, not from standards",
            Self::ChartExpired => "the chart is past its expiry date",
            Self::KitDrifted => "a check with a known standard lay beyond the action limits",
            Self::WaitingTimeMissed => "the photo was not taken at the kit's waiting time",
            Self::ColdWater => "the sample was colder than the kit allows",
            Self::StripReversed => "the strip lies the other way round",
            Self::UnevenPad => "the pad is unevenly coloured",
        }
    }

    /// What the keeper can do about it, in one clause.
    pub const fn remedy(self) -> &'static str {
        match self {
            Self::GlareRemoved => "turn away from the window or lamp that mirrors in the glass",
            Self::VeilOnSample => "wipe the glass, and turn until nothing mirrors in the sample",
            Self::UnevenLight | Self::ShadowOnCard => "turn so that light falls evenly on the card",
            Self::MixedLight => "switch off one of the lights",
            Self::ColouredLight => "use daylight or a neutral white lamp",
            Self::DimPhoto => "use more light",
            Self::Blurred => "hold still and tap to focus on the card",
            Self::PatchesClipped => "let the phone expose for the card",
            Self::ColourFitCoarse => "use daylight, and the same print of the card as the chart's",
            Self::ColoursAltered => "photograph the card itself, unedited, without filter, with a clean lens",
            Self::UnlikeChart => {
                "take light like that of the chart's standards, or add a standard photographed in this light to the chart"
            }
            Self::CardSmall => "move closer",
            Self::ThreeTags => "keep all four corners in view",
            Self::OffPath => "repeat the test; if it stays so, check the kit with a standard",
            Self::BelowChart => "use a test for lower values",
            Self::AboveChart => {
                "use a test for higher values or, for anything but pH, dilute the sample with distilled water"
            }
            Self::TimeZoneUnknown | Self::TimeUnknown => "give the time with --at",
            Self::ProvisionalChart => "improve the chart with a standard solution",
            Self::ChartExpired => "make the chart anew",
            Self::KitDrifted => "make the chart anew or replace the reagents",
            Self::WaitingTimeMissed => "photograph at the waiting time in the kit's leaflet",
            Self::ColdWater => "let the sample warm to room temperature first",
            Self::StripReversed => "lay the tip towards the top of the card",
            Self::UnevenPad => "dip a fresh strip and shake off the drops",
        }
    }

    /// The word used in files, as serde writes it.
    pub fn word(self) -> String {
        serde_json::to_value(self)
            .ok()
            .and_then(|value| value.as_str().map(str::to_owned))
            .unwrap_or_default()
    }
}

impl fmt::Display for Flag {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.cause(), self.remedy())
    }
}
