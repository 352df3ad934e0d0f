//! Notes: what a number rests on, where its model stops holding, and what can hurt people.
//!
//! A result that leaves the range of its model carries a [`Note`] that says so; a result never becomes an error for it,
//! since a bound with a warning is more use at the furnace than a refusal.

use std::borrow::Cow;

/// What a note is about; a face may show each kind in its own way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum NoteKind {
    /// What the number rests on: the law, the table, the assumption that carries it.
    Basis,
    /// A parameter that was assumed, for want of a measurement.
    Assumed,
    /// The number is a bound, not a prediction; the text says on which side the truth lies.
    Bound,
    /// The model was used outside the range that it was made for.
    OutsideValidity,
    /// Something that goes wrong in practice, or work that can hurt people.
    Caution,
}

/// One sentence that belongs to a result.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// What the note is about.
    pub kind: NoteKind,
    /// The sentence, for people.
    pub text: Cow<'static, str>,
}

impl Note {
    /// A note on what a number rests on.
    pub fn basis(text: impl Into<Cow<'static, str>>) -> Self {
        Self { kind: NoteKind::Basis, text: text.into() }
    }

    /// A note on a parameter that was assumed.
    pub fn assumed(text: impl Into<Cow<'static, str>>) -> Self {
        Self { kind: NoteKind::Assumed, text: text.into() }
    }

    /// A note that the number is a bound.
    pub fn bound(text: impl Into<Cow<'static, str>>) -> Self {
        Self { kind: NoteKind::Bound, text: text.into() }
    }

    /// A note that the model was used outside its range.
    pub fn outside(text: impl Into<Cow<'static, str>>) -> Self {
        Self { kind: NoteKind::OutsideValidity, text: text.into() }
    }

    /// A caution.
    pub fn caution(text: impl Into<Cow<'static, str>>) -> Self {
        Self { kind: NoteKind::Caution, text: text.into() }
    }
}

/// Whether any note says that a model was used outside its range.
pub fn outside_validity(notes: &[Note]) -> bool {
    notes.iter().any(|note| note.kind == NoteKind::OutsideValidity)
}
