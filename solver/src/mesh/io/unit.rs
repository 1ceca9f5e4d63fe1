//! What the numbers of a file count.

use std::fmt;

use super::ReadError;

/// What a file's numbers count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LengthUnit {
    /// 0.001 mm.
    Micron,
    /// 1 mm.
    Millimetre,
    /// 10 mm.
    Centimetre,
    /// 1000 mm.
    Metre,
    /// 25.4 mm.
    Inch,
    /// 304.8 mm.
    Foot,
}

impl LengthUnit {
    /// Every unit, smallest first.
    pub const ALL: [Self; 6] =
        [Self::Micron, Self::Millimetre, Self::Centimetre, Self::Inch, Self::Foot, Self::Metre];

    /// How many millimetres one unit is. The inch is 25.4 mm by definition (the international
    /// yard and pound agreement of 1959).
    pub fn millimetres(self) -> f64 {
        match self {
            Self::Micron => 0.001,
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
            Self::Metre => 1000.0,
            Self::Inch => 25.4,
            Self::Foot => 304.8,
        }
    }

    /// By its symbol or name: `mm`, `cm`, `m`, `in`, `ft`, `um`, or the word, in either spelling.
    pub fn from_name(name: &str) -> Result<Self, ReadError> {
        match name.trim().to_ascii_lowercase().as_str() {
            "um" | "micron" | "microns" | "micrometre" | "micrometer" => Ok(Self::Micron),
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => {
                Ok(Self::Millimetre)
            }
            "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => {
                Ok(Self::Centimetre)
            }
            "m" | "metre" | "metres" | "meter" | "meters" => Ok(Self::Metre),
            "in" | "inch" | "inches" => Ok(Self::Inch),
            "ft" | "foot" | "feet" => Ok(Self::Foot),
            _ => Err(ReadError::UnknownUnit { name: name.to_owned() }),
        }
    }
}

impl fmt::Display for LengthUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Micron => "microns",
            Self::Millimetre => "millimetres",
            Self::Centimetre => "centimetres",
            Self::Metre => "metres",
            Self::Inch => "inches",
            Self::Foot => "feet",
        })
    }
}
