//! Compiling in a process of its own. Without a test harness: that process is this program, started again.

#[path = "../host/guest.rs"]
mod guest;

use std::path::PathBuf;
use std::process::ExitCode;

use hearthward_drivers::{Compiler, DriverSpec, Engine, Refusal, compile_if_asked, survey};
use hearthward_equipment::Name;

use guest::Guest;

fn main() -> ExitCode {
    if let Some(ended) = compile_if_asked() {
        return ended;
    }
    a_driver_is_compiled_and_kept();
    a_bomb_is_refused();
    a_program_that_is_gone_is_named();
    ExitCode::SUCCESS
}

fn driver(folder: &tempfile::TempDir, guest: &Guest) -> DriverSpec {
    DriverSpec::new(Name::new("one").expect("a name"), guest.write(folder.path(), "one"))
}

fn refusal(compiler: Compiler, guest: &Guest) -> Option<Refusal> {
    let folder = tempfile::tempdir().expect("a folder");
    let engine = Engine::new(None, compiler).expect("an engine");
    survey(&engine, &[driver(&folder, guest)]).remove(0).refusal
}

/// Goal: what the other process compiled runs here, and is kept for an engine that can compile nothing.
fn a_driver_is_compiled_and_kept() {
    let (folder, cache) = (tempfile::tempdir().expect("a folder"), tempfile::tempdir().expect("a folder"));
    let spec = driver(&folder, &Guest::steady(&["north"]));
    for compiler in [Compiler::this_program().expect("a path"), Compiler::Program(PathBuf::from("/nowhere"))] {
        let engine = Engine::new(Some(cache.path().to_owned()), compiler).expect("an engine");
        let found = survey(&engine, std::slice::from_ref(&spec)).remove(0);
        assert_eq!((found.refusal, found.units.len()), (None, 1));
    }
}

/// Goal: a small file whose compilation takes more memory than any driver's is refused in words, and this process lives on.
fn a_bomb_is_refused() {
    let sum =
        "(local.set 1 (i32.mul (i32.add (local.get 0) (local.get 1)) (i32.xor (local.get 1) (local.get 0))))".repeat(400_000);
    let bomb = Guest {
        extra: format!("(func (param i32) (result i32) (local i32) {sum} (local.get 1))"),
        ..Guest::on_a_line(&["north"])
    };
    let refusal = refusal(Compiler::this_program().expect("a path"), &bomb).expect("it is refused");
    let Refusal::NotCompiled { path, why } = &refusal else { panic!("{refusal}") };
    assert!(path.ends_with("one.wasm") && why.contains("it took more than"), "{refusal}");
}

/// Goal: a program that cannot be started is told by its name.
fn a_program_that_is_gone_is_named() {
    let refusal = refusal(Compiler::Program(PathBuf::from("/nowhere")), &Guest::steady(&["north"])).expect("it is refused");
    assert!(refusal.to_string().contains("/nowhere does not start"), "{refusal}");
}
