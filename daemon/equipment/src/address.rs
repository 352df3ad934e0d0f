//! Names of things, and the addresses that lead to a unit or a point of it.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// A name in the shop: lower-case ASCII letters, digits and `-`, starting with a letter, 1 to 40 characters.
///
/// A name that exists is a good name; there is no other way to make one than [`Name::new`].
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Name(String);

/// The name of a driver instance as the configuration gives it.
pub type DriverName = Name;

impl Name {
    /// The longest name taken, in characters; longer ones break the columns of every table that people read.
    pub const LONGEST: usize = 40;

    /// Takes a name.
    ///
    /// # Errors
    /// [`NameError`] when a character other than `a`–`z`, `0`–`9`, `-` occurs, the first is not a letter, or the length is
    /// not 1 to [`Name::LONGEST`].
    pub fn new(text: impl Into<String>) -> Result<Self, NameError> {
        let text = text.into();
        let good = (1..=Self::LONGEST).contains(&text.len())
            && text.starts_with(|c: char| c.is_ascii_lowercase())
            && text.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
        if good { Ok(Self(text)) } else { Err(NameError { text }) }
    }

    /// The name as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// A text that is not a name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{text:?} is not a name: use a-z, 0-9 and '-', a letter first, at most {longest} characters", longest = Name::LONGEST)]
pub struct NameError {
    /// What was given.
    pub text: String,
}

impl TryFrom<String> for Name {
    type Error = NameError;
    fn try_from(text: String) -> Result<Self, NameError> {
        Self::new(text)
    }
}

impl From<Name> for String {
    fn from(name: Name) -> Self {
        name.0
    }
}

impl FromStr for Name {
    type Err = NameError;
    fn from_str(text: &str) -> Result<Self, NameError> {
        Self::new(text)
    }
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// A unit: `driver/unit`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct UnitAddress {
    /// The driver instance.
    pub driver: DriverName,
    /// The unit as the driver's `open` lists it.
    pub unit: Name,
}

impl fmt::Display for UnitAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.driver, self.unit)
    }
}

impl FromStr for UnitAddress {
    type Err = NameError;
    fn from_str(text: &str) -> Result<Self, NameError> {
        let (driver, unit) = text.split_once('/').ok_or_else(|| NameError { text: text.into() })?;
        Ok(Self { driver: driver.parse()?, unit: unit.parse()? })
    }
}

/// One value of a unit: `driver/unit.point`.
///
/// The fields of the driver contract's records appear under the names of [`crate::reading::field`]; everything else under the
/// name that the driver gives it, with `_` read as `-`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Address {
    /// The unit that the value belongs to.
    pub unit: UnitAddress,
    /// The value's name within the unit.
    pub point: Name,
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", self.unit, self.point)
    }
}

impl FromStr for Address {
    type Err = NameError;
    fn from_str(text: &str) -> Result<Self, NameError> {
        let (unit, point) = text.split_once('.').ok_or_else(|| NameError { text: text.into() })?;
        Ok(Self { unit: unit.parse()?, point: point.parse()? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_checked_on_the_way_in() {
        assert!(Name::new("north-meter2").is_ok());
        for bad in ["", "North", "2north", "north meter", "north_meter", &"n".repeat(41)] {
            assert!(Name::new(bad).is_err(), "{bad:?} was taken");
        }
    }

    #[test]
    fn addresses_read_back_as_written() {
        let address: Address = "io/north.door-open".parse().expect("a good address");
        assert_eq!(address.to_string(), "io/north.door-open");
        assert!("io.north".parse::<Address>().is_err());
        assert!("io/north".parse::<Address>().is_err());
    }
}
