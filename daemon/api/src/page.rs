//! Pages of lists: sizes, and tokens that say where the next page begins.

use crate::error::ApiError;

/// Entries on a page when the client does not say.
const PAGE: usize = 100;

/// Most entries on a page; a larger wish is taken as this.
const PAGE_MOST: usize = 1000;

/// The size of a page.
pub(crate) fn size(wanted: i32) -> Result<usize, ApiError> {
    match usize::try_from(wanted) {
        Err(_) => Err(ApiError::field("page_size", "must not be negative")),
        Ok(0) => Ok(PAGE),
        Ok(wanted) => Ok(wanted.min(PAGE_MOST)),
    }
}

/// A token for the page that begins at `position` of the list that `list` names; `list` covers everything that the client must not
/// change between pages.
pub(crate) fn token(position: u64, list: &str) -> String {
    format!("{position:x}.{:x}", tag(list))
}

/// The position that a token names; nothing for an empty one.
pub(crate) fn position(token: &str, list: &str) -> Result<Option<u64>, ApiError> {
    if token.is_empty() {
        return Ok(None);
    }
    let read = || {
        let (position, tagged) = token.split_once('.')?;
        let position = u64::from_str_radix(position, 16).ok()?;
        (u64::from_str_radix(tagged, 16).ok()? == tag(list)).then_some(position)
    };
    read().map(Some).ok_or_else(|| ApiError::field("page_token", "was not given out for this list; begin without one"))
}

/// One page of a list that is held in memory, and the token of the next.
pub(crate) fn cut<T>(all: Vec<T>, list: &str, page_size: i32, page_token: &str) -> Result<(Vec<T>, String), ApiError> {
    let size = size(page_size)?;
    let start = usize::try_from(position(page_token, list)?.unwrap_or(0)).unwrap_or(usize::MAX);
    let more = all.len() > start.saturating_add(size);
    let page = all.into_iter().skip(start).take(size).collect();
    let next = if more { token((start + size) as u64, list) } else { String::new() };
    Ok((page, next))
}

/// A short check value: a token is kept from being used for another list, not from being forged.
fn tag(list: &str) -> u64 {
    list.bytes().fold(7, |sum: u64, byte| sum.wrapping_mul(31).wrapping_add(u64::from(byte)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_taken_as_lists_usually_take_them() {
        assert_eq!(size(0), Ok(100));
        assert_eq!(size(7), Ok(7));
        assert_eq!(size(5000), Ok(1000));
        assert!(size(-1).is_err());
    }

    #[test]
    fn pages_cover_a_list_once() {
        let mut seen = Vec::new();
        let mut next = String::new();
        loop {
            let (page, after) = cut((0..25).collect(), "things", 10, &next).expect("a good page");
            seen.extend(page);
            if after.is_empty() {
                break;
            }
            next = after;
        }
        assert_eq!(seen, (0..25).collect::<Vec<_>>());
    }

    #[test]
    fn a_token_of_another_list_is_refused() {
        assert!(position(&token(3, "drivers"), "recipes").is_err());
        assert!(position("rubbish", "recipes").is_err());
    }
}
