//! Where a reply ends: pure rules on the bytes so far.

use std::time::Duration;

use serde::{Deserialize, Serialize};

/// The first rule whose byte matches says where the reply ends. `mask` 0 with `equals` 0 matches always, even before the byte
/// is there.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct FrameRule {
    pub(crate) at: u32,
    pub(crate) mask: u8,
    pub(crate) equals: u8,
    pub(crate) extent: Extent,
}

/// Where a reply ends.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Extent {
    /// After this many bytes in all.
    Fixed(u32),
    /// With this sequence.
    Delimiter(Vec<u8>),
    /// When the line has been silent for so many tenths of a character's time.
    Silence(u32),
    /// After as many bytes as the field says, and `plus` more.
    Length { at: u32, bytes: u8, little_endian: bool, plus: i32 },
}

/// How far a reply has come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Progress {
    /// The end is not there yet.
    More,
    /// It ends when nothing more comes for this long.
    Pause(Duration),
    /// It is complete with so many bytes.
    Whole(usize),
    /// It cannot be framed, and why.
    Refused(&'static str),
}

/// The longest reply taken, and the longest request. The longest frame of the field protocols that small equipment speaks is
/// 260 bytes; four kilobytes leave room for gateways that talk in text.
pub(crate) const FRAME_LONGEST: usize = 4096;

/// The most rules of one exchange: an answer, a few kinds of refusal, and air.
pub(crate) const RULES_MOST: usize = 16;

/// The longest delimiter; real ones have one or two bytes.
const DELIMITER_LONGEST: usize = 16;

/// What silence is on a line without characters.
pub(crate) const PAUSE: Duration = Duration::from_millis(20);

/// Whether these rules can ever frame a reply, with the reason if not.
pub(crate) fn check(rules: &[FrameRule]) -> Result<(), &'static str> {
    if rules.is_empty() {
        return Err("there is no rule that says where the reply ends");
    }
    if rules.len() > RULES_MOST {
        return Err("there are too many rules for one reply");
    }
    for rule in rules {
        let possible = match &rule.extent {
            Extent::Fixed(bytes) => *bytes >= 1 && *bytes as usize <= FRAME_LONGEST,
            Extent::Delimiter(sequence) => (1..=DELIMITER_LONGEST).contains(&sequence.len()),
            Extent::Silence(_) => true,
            Extent::Length { at, bytes, .. } => matches!(bytes, 1 | 2 | 4) && (*at as usize) < FRAME_LONGEST,
        };
        if !possible || rule.at as usize >= FRAME_LONGEST {
            return Err("a rule asks for a reply that is empty or too long");
        }
    }
    Ok(())
}

/// How far the reply has come by these rules.
pub(crate) fn progress(reply: &[u8], rules: &[FrameRule]) -> Progress {
    for rule in rules {
        if rule.mask == 0 && rule.equals == 0 {
            return extent(reply, &rule.extent);
        }
        match reply.get(rule.at as usize) {
            // An earlier rule may still match: the order counts.
            None => return Progress::More,
            Some(byte) if byte & rule.mask == rule.equals => return extent(reply, &rule.extent),
            Some(_) => {}
        }
    }
    Progress::Refused("no rule fits the reply")
}

fn extent(reply: &[u8], extent: &Extent) -> Progress {
    match extent {
        Extent::Fixed(bytes) => whole_at(reply, *bytes as usize),
        Extent::Delimiter(sequence) => match reply.windows(sequence.len()).position(|part| part == sequence) {
            Some(start) => Progress::Whole(start + sequence.len()),
            None if reply.len() >= FRAME_LONGEST => Progress::Refused("the reply is too long"),
            None => Progress::More,
        },
        Extent::Silence(_) if reply.len() >= FRAME_LONGEST => Progress::Refused("the reply is too long"),
        Extent::Silence(_) if reply.is_empty() => Progress::More,
        Extent::Silence(_) => Progress::Pause(PAUSE),
        Extent::Length { at, bytes, little_endian, plus } => {
            let start = *at as usize;
            let Some(field) = reply.get(start..start + usize::from(*bytes)) else {
                return Progress::More;
            };
            let fold = |sum: u64, byte: &u8| sum << 8 | u64::from(*byte);
            let number = if *little_endian { field.iter().rev().fold(0, fold) } else { field.iter().fold(0, fold) };
            // A field of four bytes and a plus of four bytes fit eight with room to spare.
            let total = i64::try_from(number).unwrap_or(i64::MAX).saturating_add(i64::from(*plus));
            match usize::try_from(total) {
                Ok(total) if total >= start + usize::from(*bytes) => whole_at(reply, total),
                _ => Progress::Refused("the reply's length field makes no sense"),
            }
        }
    }
}

fn whole_at(reply: &[u8], total: usize) -> Progress {
    if total > FRAME_LONGEST {
        Progress::Refused("the reply is too long")
    } else if reply.len() >= total {
        Progress::Whole(total)
    } else {
        Progress::More
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rule(at: u32, mask: u8, equals: u8, extent: Extent) -> FrameRule {
        FrameRule { at, mask, equals, extent }
    }

    /// Goal: the exception reply ends early by the first rule, the answer by the second, byte by byte.
    #[test]
    fn the_first_rule_that_fits_decides() {
        let rules = [
            rule(1, 0x80, 0x80, Extent::Fixed(5)),
            rule(0, 0, 0, Extent::Length { at: 2, bytes: 1, little_endian: false, plus: 5 }),
        ];
        let answer = [1, 3, 2, 0xAA, 0xBB, 9, 9, 0xFF];
        for end in 0..7 {
            assert_eq!(progress(&answer[..end], &rules), Progress::More, "{end} bytes");
        }
        assert_eq!(progress(&answer, &rules), Progress::Whole(7));
        assert_eq!(progress(&[1, 0x83, 2, 7, 7], &rules), Progress::Whole(5));
    }

    /// Goal: impossible lengths, in either byte order, are refused and never wait for ever.
    #[test]
    fn lengths_that_make_no_sense_are_refused() {
        let little = [rule(0, 0, 0, Extent::Length { at: 0, bytes: 2, little_endian: true, plus: -4 })];
        assert!(matches!(progress(&[3, 0], &little), Progress::Refused(_)));
        assert_eq!(progress(&[6, 0], &little), Progress::Whole(2));
        let wide = [rule(0, 0, 0, Extent::Length { at: 0, bytes: 4, little_endian: false, plus: i32::MAX })];
        assert!(matches!(progress(&[0xFF; 4], &wide), Progress::Refused(_)));
    }

    /// Goal: delimiters end the reply where they stand, silence only after a first byte.
    #[test]
    fn text_ends_with_its_delimiter() {
        let text = [rule(0, 0, 0, Extent::Delimiter(b"\r\n".to_vec()))];
        assert_eq!(progress(b"21.5\r\nrest", &text), Progress::Whole(6));
        assert_eq!(progress(b"21.5\r", &text), Progress::More);
        let silence = [rule(0, 0, 0, Extent::Silence(35))];
        assert_eq!(progress(b"", &silence), Progress::More);
        assert_eq!(progress(b"x", &silence), Progress::Pause(PAUSE));
    }

    /// Goal: rules that no reply can satisfy are found before anything is sent.
    #[test]
    fn impossible_rules_are_found_beforehand() {
        assert!(check(&[]).is_err());
        assert!(check(&[rule(0, 0, 0, Extent::Fixed(0))]).is_err());
        assert!(check(&[rule(0, 0, 0, Extent::Delimiter(Vec::new()))]).is_err());
        assert!(check(&[rule(0, 0, 0, Extent::Length { at: 0, bytes: 3, little_endian: false, plus: 0 })]).is_err());
        assert!(check(&vec![rule(0, 0, 0, Extent::Fixed(1)); RULES_MOST + 1]).is_err());
        assert!(check(&[rule(0, 0, 0, Extent::Fixed(8))]).is_ok());
    }
}
