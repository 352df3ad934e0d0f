//! An answer in the API's words.

use hearthward_process::note::{Note, NoteKind};
use hearthward_process::plan::{Answer, Item, Value};
use hearthward_proto::v1;
use hearthward_proto::v1::plan_item::Value as Shown;

/// An answer as the API's message, with the same text that the command line prints.
pub fn message(answer: &Answer) -> v1::PlanAnswer {
    v1::PlanAnswer {
        title: answer.title.clone(),
        warnings: answer.warnings.iter().map(note).collect(),
        items: answer.items.iter().map(item).collect(),
        notes: answer.notes.iter().map(note).collect(),
        text: answer.text(),
    }
}

fn item(item: &Item) -> v1::PlanItem {
    let value = match &item.value {
        Value::Number(number) => Shown::Number(*number),
        Value::Flag(flag) => Shown::Flag(*flag),
        Value::Word(word) => Shown::Word(word.clone()),
    };
    v1::PlanItem {
        key: item.key.to_owned(),
        label: item.label.clone(),
        value: Some(value),
        shown: item.shown.clone(),
        basis: item.basis.to_string(),
    }
}

fn note(note: &Note) -> v1::PlanNote {
    let kind = match note.kind {
        NoteKind::Basis => v1::PlanNoteKind::Basis,
        NoteKind::Assumed => v1::PlanNoteKind::Assumed,
        NoteKind::Bound => v1::PlanNoteKind::Bound,
        NoteKind::OutsideValidity => v1::PlanNoteKind::OutsideValidity,
        NoteKind::Caution => v1::PlanNoteKind::Caution,
    };
    v1::PlanNote { kind: kind.into(), text: note.text.to_string() }
}
