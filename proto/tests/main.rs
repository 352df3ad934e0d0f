//! Goal: the contract is a checked-in text, so that a change of it shows in review, and the conventions that programs count on hold.
//! Method: the descriptor set of the build, written out, against `descriptor.txt`. To take a wanted change over, run with
//! `HEARTHWARD_BLESS=1`.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::Path;

use prost::Message;
use prost_types::field_descriptor_proto::{Label, Type};
use prost_types::{DescriptorProto, EnumDescriptorProto, FieldDescriptorProto, FileDescriptorProto, FileDescriptorSet};

#[test]
fn the_contract_is_the_one_that_is_checked_in() {
    let mut found = String::new();
    for file in ours() {
        describe_file(&mut found, &file);
    }
    let kept_at = Path::new(env!("CARGO_MANIFEST_DIR")).join("descriptor.txt");
    if std::env::var_os("HEARTHWARD_BLESS").is_some() {
        std::fs::write(&kept_at, &found).expect("written");
    }
    let kept = std::fs::read_to_string(&kept_at).expect("descriptor.txt is checked in");
    let differs = found.lines().zip(kept.lines()).position(|(one, other)| one != other);
    assert_eq!(
        found, kept,
        "the contract changed, first at line {differs:?}: numbers and types of what was published must stay; if this only adds, take it over with HEARTHWARD_BLESS=1"
    );
}

#[test]
fn zero_is_unspecified_and_values_carry_their_enum() {
    for file in ours() {
        for one in &file.enum_type {
            let prefix = upper_snake(one.name());
            assert_eq!((one.value[0].number(), one.value[0].name()), (0, format!("{prefix}_UNSPECIFIED").as_str()));
            for value in &one.value {
                assert!(value.name().starts_with(&format!("{prefix}_")), "{} in {}", value.name(), one.name());
            }
        }
    }
}

#[test]
fn requests_and_answers_belong_to_their_method() {
    let mut seen = BTreeSet::new();
    for file in ours() {
        for service in &file.service {
            assert!(service.name().ends_with("Service"), "{}", service.name());
            for method in &service.method {
                for (kind, end) in [(method.input_type(), "Request"), (method.output_type(), "Response")] {
                    assert_eq!(kind, format!(".hearthward.v1.{}{end}", method.name()));
                    assert!(seen.insert(kind.to_owned()), "{kind} serves two methods");
                }
                assert!(!method.client_streaming(), "{}: browsers cannot stream to a server", method.name());
            }
        }
    }
}

#[test]
fn commands_can_be_repeated_and_lists_have_pages() {
    for file in ours() {
        for message in &file.message_type {
            let fields: BTreeSet<_> = message.field.iter().map(FieldDescriptorProto::name).collect();
            let name = message.name();
            if name.starts_with("List") && name.ends_with("Request") {
                assert!(fields.contains("page_size") && fields.contains("page_token"), "{name}");
            }
            if name.starts_with("List") && name.ends_with("Response") {
                assert!(fields.contains("next_page_token"), "{name}");
            }
            let reads = ["Get", "List", "Stream", "Plan"].iter().any(|verb| name.starts_with(verb));
            if name.ends_with("Request") && !reads {
                assert!(fields.contains("request_id") && fields.contains("person"), "{name}");
            }
        }
    }
}

#[test]
fn bare_numbers_say_their_unit() {
    /// Numbers that are counts, numbers of things, or in their message's own words.
    const COUNTS: [&str; 28] = [
        "seq",
        "tick",
        "boot",
        "generation",
        "parts",
        "part",
        "steps",
        "step_index",
        "index",
        "id",
        "question_id",
        "restarts",
        "raised",
        "page_size",
        "after_seq",
        "from_seq",
        "through_seq",
        "oldest_seq",
        "last_seq",
        "changes",
        "changes_delivered",
        "changes_owed",
        "whole",
        "number",
        "share",
        "room_oxygen_share",
        "controller_program",
        "tempers",
    ];
    const UNITS: [&str; 23] = [
        "_c", "_k", "_k_h", "_k_min", "_ms", "_s", "_min", "_per_h", "_ppm", "_ppm_s", "_percent", "_share", "_l_min", "_l",
        "_m3", "_mm", "_cm2", "_kpa", "_bar", "_kg", "_w", "_hrc", "_h",
    ];
    fn walk(message: &DescriptorProto) {
        for field in &message.field {
            let number =
                matches!(field.r#type(), Type::Double | Type::Float | Type::Int32 | Type::Int64 | Type::Uint32 | Type::Uint64);
            let named = COUNTS.contains(&field.name()) || UNITS.iter().any(|unit| field.name().ends_with(unit));
            assert!(!number || named, "{}.{} has no unit", message.name(), field.name());
        }
        message.nested_type.iter().for_each(walk);
    }
    ours().iter().flat_map(|file| &file.message_type).for_each(walk);
}

#[test]
fn everything_in_the_files_is_explained() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("hearthward/v1");
    let mut lines = 0;
    for entry in std::fs::read_dir(folder).expect("readable") {
        let path = entry.expect("readable").path();
        let text = std::fs::read_to_string(&path).expect("text");
        let mut before = "";
        for (place, line) in text.lines().map(str::trim).enumerate() {
            let heads = ["message ", "enum ", "service ", "rpc ", "oneof "].iter().any(|word| line.starts_with(word));
            let field = line.ends_with(';') && line.contains(" = ") && !line.starts_with("syntax");
            if heads || field {
                assert!(before.starts_with("//"), "{}:{}: {line} is not explained", path.display(), place + 1);
                lines += 1;
            }
            before = line;
        }
    }
    assert!(lines > 300, "only {lines} were looked at");
}

fn ours() -> Vec<FileDescriptorProto> {
    let set = FileDescriptorSet::decode(hearthward_proto::FILE_DESCRIPTOR_SET).expect("a descriptor set");
    let mut files: Vec<_> = set.file.into_iter().filter(|file| file.package() == hearthward_proto::PACKAGE).collect();
    files.sort_by(|one, other| one.name().cmp(other.name()));
    assert!(!files.is_empty());
    files
}

fn describe_file(out: &mut String, file: &FileDescriptorProto) {
    line(out, 0, &format!("file {}", file.name()));
    for service in &file.service {
        line(out, 1, &format!("service {}", service.name()));
        for method in &service.method {
            let stream = if method.server_streaming() { "stream " } else { "" };
            let (input, output) = (method.input_type(), method.output_type());
            line(out, 2, &format!("{}({input}) -> {stream}{output}", method.name()));
        }
    }
    for one in &file.enum_type {
        describe_enum(out, 1, one);
    }
    for message in &file.message_type {
        describe_message(out, 1, message);
    }
}

fn describe_enum(out: &mut String, depth: usize, one: &EnumDescriptorProto) {
    line(out, depth, &format!("enum {}", one.name()));
    for value in &one.value {
        line(out, depth + 1, &format!("{} = {}", value.name(), value.number()));
    }
}

fn describe_message(out: &mut String, depth: usize, message: &DescriptorProto) {
    line(out, depth, &format!("message {}", message.name()));
    for field in &message.field {
        line(out, depth + 1, &describe_field(field, message));
    }
    for inner in &message.enum_type {
        describe_enum(out, depth + 1, inner);
    }
    for inner in &message.nested_type {
        describe_message(out, depth + 1, inner);
    }
}

fn describe_field(field: &FieldDescriptorProto, message: &DescriptorProto) -> String {
    let kind = match field.type_name() {
        "" => format!("{:?}", field.r#type()).to_lowercase(),
        name => name.to_owned(),
    };
    let place = field.oneof_index.and_then(|place| message.oneof_decl.get(usize::try_from(place).ok()?));
    let label = match (field.label(), place) {
        (Label::Repeated, _) => "repeated ".to_owned(),
        _ if field.proto3_optional() => "optional ".to_owned(),
        (_, Some(oneof)) => format!("oneof {} ", oneof.name()),
        _ => String::new(),
    };
    format!("{} = {} {label}{kind}", field.name(), field.number())
}

fn line(out: &mut String, depth: usize, text: &str) {
    writeln!(out, "{:width$}{text}", "", width = depth * 2).expect("a text takes everything");
}

fn upper_snake(name: &str) -> String {
    let mut out = String::new();
    for (place, letter) in name.char_indices() {
        if letter.is_ascii_uppercase() && place > 0 {
            out.push('_');
        }
        out.push(letter.to_ascii_uppercase());
    }
    out
}
