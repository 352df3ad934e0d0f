//! Goal: a command is carried out once, refused in words, and finished even when its client is gone.

use std::sync::Arc;
use std::time::Duration;

use hearthward_equipment::{FurnaceId, PointId, Value};
use hearthward_proto::v1;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::plan::SteelChoice;
use hearthward_supervise::recipe::{Drive, Protection, Step};
use hearthward_supervise::request::{Choice, QuestionId, Request};
use tokio::sync::Notify;
use tonic::{Code, Status};
use tonic_types::StatusExt;

use crate::common::{Script, Served, error};
use crate::plan;

fn hold(id: &str, furnace: &str) -> v1::HoldCycleRequest {
    v1::HoldCycleRequest { request_id: id.into(), person: "Ada".into(), furnace: furnace.into() }
}

fn start(cycle: v1::start_cycle_request::Cycle) -> v1::StartCycleRequest {
    v1::StartCycleRequest {
        request_id: "start".into(),
        person: "Ada".into(),
        furnace: "north".into(),
        load: "irons-7".into(),
        parts: 3,
        cycle: Some(cycle),
        ready_in_ms: None,
    }
}

#[tokio::test]
async fn a_repeat_gets_the_first_answer_and_does_nothing_again() {
    let served = Served::start().await;
    let mut cycles = served.cycles().await;
    for _ in 0..3 {
        let text = cycles.hold_cycle(hold("one", "north")).await.expect("done").into_inner().text;
        assert_eq!(text, "Done, Ada.");
    }
    assert_eq!(served.asked().len(), 1);
    // Refusals are answers too.
    served.script(Script::Refuse("The door is open; shut it first."));
    for _ in 0..2 {
        let refused = cycles.hold_cycle(hold("two", "north")).await.expect_err("refused");
        error(&refused, Code::FailedPrecondition, "REFUSED");
        assert_eq!(refused.message(), "The door is open; shut it first.");
    }
    assert_eq!(served.asked().len(), 2);
    // The same after a restart.
    let folder = served.stop().await;
    let served = Served::start_in(folder).await;
    let text = served.cycles().await.hold_cycle(hold("one", "north")).await.expect("done").into_inner().text;
    assert_eq!(text, "Done, Ada.");
    assert!(served.asked().is_empty());
}

#[tokio::test]
async fn one_id_for_two_commands_is_a_mistake() {
    let served = Served::start().await;
    let mut cycles = served.cycles().await;
    cycles.hold_cycle(hold("one", "north")).await.expect("done");
    let other = cycles.hold_cycle(hold("one", "south")).await.expect_err("another furnace");
    error(&other, Code::AlreadyExists, "REQUEST_ID_REUSED");
    let resume = v1::ResumeCycleRequest { request_id: "one".into(), person: "Ada".into(), furnace: "north".into() };
    error(&cycles.resume_cycle(resume).await.expect_err("another method"), Code::AlreadyExists, "REQUEST_ID_REUSED");
    assert_eq!(served.asked().len(), 1);
}

#[tokio::test]
async fn a_repeat_while_it_is_under_way_waits_with_the_first() {
    let served = Served::start().await;
    let told = Arc::new(Notify::new());
    served.script(Script::Hold(Arc::clone(&told)));
    let mut waiting = Vec::new();
    for _ in 0..5 {
        let mut cycles = served.cycles().await;
        waiting.push(tokio::spawn(async move { cycles.hold_cycle(hold("one", "north")).await }));
    }
    tokio::time::sleep(Duration::from_millis(100)).await;
    told.notify_one();
    for one in waiting {
        assert_eq!(one.await.expect("no panic").expect("done").into_inner().text, "Done at last.");
    }
    assert_eq!(served.asked().len(), 1);
}

#[tokio::test]
async fn a_command_finishes_when_its_client_hangs_up() {
    let served = Served::start().await;
    let told = Arc::new(Notify::new());
    served.script(Script::Hold(Arc::clone(&told)));
    let mut cycles = served.cycles().await;
    let call = tokio::spawn(async move { cycles.hold_cycle(hold("one", "north")).await });
    while served.asked().is_empty() {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    call.abort();
    tokio::time::sleep(Duration::from_millis(50)).await;
    let last = served.door.reader.last_seq();
    told.notify_one();
    served.door.reader.beyond(last).await;
    assert!(served.door.reader.answer("one").expect("readable").is_some(), "it finished");
    let text = served.cycles().await.hold_cycle(hold("one", "north")).await.expect("done").into_inner().text;
    assert_eq!(text, "Done at last.");
}

#[tokio::test]
async fn a_busy_or_ending_shop_says_so() {
    let served = Served::start().await;
    let mut cycles = served.cycles().await;
    served.script(Script::Busy);
    let busy = cycles.hold_cycle(hold("one", "north")).await.expect_err("busy");
    error(&busy, Code::ResourceExhausted, "TOO_MANY_COMMANDS");
    assert!(busy.get_error_details().retry_info().is_some());
    served.script(Script::Ending);
    error(&cycles.hold_cycle(hold("one", "north")).await.expect_err("ending"), Code::Unavailable, "ENDING");
    // What was not taken may be sent again under the same id.
    served.script(Script::Do);
    cycles.hold_cycle(hold("one", "north")).await.expect("done");
}

#[tokio::test]
async fn every_command_reaches_the_shop_as_it_was_meant() {
    let served = Served::start().await;
    let mut cycles = served.cycles().await;
    let mut interlocks = served.interlocks().await;
    let (person, furnace) = ("Ada".to_owned(), "south".to_owned());
    let id = |id: &str| id.to_owned();
    let value = |kind| Some(v1::Value { kind: Some(kind) });
    cycles.hold_cycle(hold("a", "south")).await.expect("done");
    cycles
        .resume_cycle(v1::ResumeCycleRequest { request_id: id("b"), person: person.clone(), furnace: furnace.clone() })
        .await
        .expect("done");
    let skip =
        v1::SkipStepRequest { request_id: id("c"), person: person.clone(), furnace: furnace.clone(), reason: " late ".into() };
    cycles.skip_step(skip).await.expect("done");
    cycles
        .abort_cycle(v1::AbortCycleRequest { request_id: id("d"), person: person.clone(), furnace: furnace.clone() })
        .await
        .expect("done");
    let reading = value(v1::value::Kind::Share(0.5));
    cycles
        .confirm_question(v1::ConfirmQuestionRequest { request_id: id("e"), person: person.clone(), question_id: 7, reading })
        .await
        .expect("done");
    let choice = v1::Choice::QuenchNow.into();
    cycles
        .choose_answer(v1::ChooseAnswerRequest { request_id: id("f"), person: person.clone(), question_id: 7, choice })
        .await
        .expect("done");
    let point = plan::POINTS[3].to_owned();
    let entered = value(v1::value::Kind::Whole(3));
    cycles
        .enter_reading(v1::EnterReadingRequest { request_id: id("g"), person: person.clone(), point, value: entered })
        .await
        .expect("done");
    let interlock = v1::InterlockKind::SensorFault.into();
    interlocks
        .reset_interlock(v1::ResetInterlockRequest {
            request_id: id("h"),
            person: person.clone(),
            furnace: String::new(),
            interlock,
        })
        .await
        .expect("done");
    interlocks.stop(v1::StopRequest { request_id: id("i"), person, furnace }).await.expect("done");

    let south = FurnaceId(1);
    let asked: Vec<_> = served.asked().into_iter().map(|command| command.request).collect();
    let expected = [
        Request::Hold { furnace: south },
        Request::Resume { furnace: south },
        Request::Skip { furnace: south, reason: "late".into() },
        Request::Abort { furnace: south },
        Request::Confirm {
            question: QuestionId(7),
            reading: Some(Value::Share(uom::si::f64::Ratio::new::<uom::si::ratio::ratio>(0.5))),
        },
        Request::Choose { question: QuestionId(7), choice: Choice::Steel(SteelChoice::QuenchNow) },
        Request::Enter { point: PointId(3), value: Value::Whole(3) },
        Request::Reset { furnace: None, interlock: Some(InterlockKind::SensorFault) },
        Request::Stop { furnace: Some(south) },
    ];
    assert_eq!(asked, expected);
}

#[tokio::test]
async fn a_recipe_given_in_full_is_the_recipe() {
    let served = Served::start().await;
    let mut cycles = served.cycles().await;
    let listed = cycles.list_recipes(v1::ListRecipesRequest::default()).await.expect("answers").into_inner();
    assert_eq!(listed.recipes[0].name, "irons");
    let full = listed.recipes[0].plan.clone().expect("a plan");
    cycles.start_cycle(start(v1::start_cycle_request::Cycle::Recipe("irons".into()))).await.expect("done");
    let mut in_full = start(v1::start_cycle_request::Cycle::Plan(full));
    in_full.request_id = "in full".into();
    cycles.start_cycle(in_full).await.expect("done");
    let loads: Vec<_> = served
        .asked()
        .into_iter()
        .map(|command| match command.request {
            Request::Start { furnace: FurnaceId(0), load, ready_in: None } => load,
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!((loads[0].name.as_str(), loads[0].parts, loads[0].steel.as_str()), ("irons-7", 3, "O1"));
    assert_eq!((loads[0].protection, loads[0].drive), (Protection::Gas, Drive::SetPoints));
    // Degrees Celsius and back: the same to a millionth of a kelvin.
    assert_eq!(loads[0].steps.len(), loads[1].steps.len());
    for (one, other) in loads[0].steps.iter().zip(&loads[1].steps) {
        assert!(alike(one, other), "{one:?} became {other:?}");
    }
}

fn alike(one: &Step, other: &Step) -> bool {
    let near = |a: hearthward_equipment::Temperature, b: hearthward_equipment::Temperature| (a.value - b.value).abs() < 1e-6;
    match (one, other) {
        (Step::Preheat { to: a, hold: x }, Step::Preheat { to: b, hold: y }) => near(*a, *b) && x == y,
        (Step::Ramp { to: a, pace: x }, Step::Ramp { to: b, pace: y }) => near(*a, *b) && x == y,
        (Step::Soak { at: a, band: w, minimum: x, .. }, Step::Soak { at: b, band: v, minimum: y, .. }) => {
            near(*a, *b) && x == y && w == v
        }
        (Step::Cool { to: a, in_air: x }, Step::Cool { to: b, in_air: y }) => near(*a, *b) && x == y,
        (Step::Temper { at: a, hold: x, .. }, Step::Temper { at: b, hold: y, .. }) => near(*a, *b) && x == y,
        (a, b) => a == b,
    }
}

#[tokio::test]
async fn what_cannot_be_taken_is_refused_by_field() {
    let served = Served::start().await;
    let mut cycles = served.cycles().await;
    let recipe = || v1::start_cycle_request::Cycle::Recipe("irons".into());
    let soak = v1::SoakStep { temperature_c: f64::NAN, band_k: None, minimum_ms: 1, maximum_ms: 1 };
    let step = |step| v1::Step { step: Some(step) };
    let steps = |steps| {
        v1::start_cycle_request::Cycle::Plan(v1::CyclePlan {
            steel: "O1".into(),
            protection: v1::Protection::None.into(),
            steps,
            controller_program: None,
            part: None,
        })
    };
    let backwards = v1::SoakStep { temperature_c: 800.0, band_k: None, minimum_ms: 2, maximum_ms: 1 };
    let ramp = v1::RampStep { temperature_c: 800.0, rate_k_h: Some(100.0), over_ms: Some(60_000) };
    let thin = v1::CyclePlan {
        steel: "O1".into(),
        protection: v1::Protection::None.into(),
        steps: vec![step(v1::step::Step::Purge(v1::PurgeStep {}))],
        part: Some(v1::Part { form: v1::Form::Plate.into(), size_mm: 0.0, mass_kg: None }),
        controller_program: None,
    };
    let cases = [
        ("request_id", v1::StartCycleRequest { request_id: String::new(), ..start(recipe()) }),
        ("request_id", v1::StartCycleRequest { request_id: "x".repeat(65), ..start(recipe()) }),
        ("person", v1::StartCycleRequest { person: " ".into(), ..start(recipe()) }),
        ("furnace", v1::StartCycleRequest { furnace: String::new(), ..start(recipe()) }),
        ("load", v1::StartCycleRequest { load: "Plane irons".into(), ..start(recipe()) }),
        ("parts", v1::StartCycleRequest { parts: 1001, ..start(recipe()) }),
        ("cycle", v1::StartCycleRequest { cycle: None, ..start(recipe()) }),
        ("plan.steps", start(steps(Vec::new()))),
        ("plan.steps[1].step", start(steps(vec![step(v1::step::Step::Purge(v1::PurgeStep {})), v1::Step { step: None }]))),
        ("plan.steps[0].soak.temperature_c", start(steps(vec![step(v1::step::Step::Soak(soak))]))),
        ("plan.steps[0].soak.maximum_ms", start(steps(vec![step(v1::step::Step::Soak(backwards))]))),
        ("plan.steps[0].ramp.over_ms", start(steps(vec![step(v1::step::Step::Ramp(ramp))]))),
        ("plan.part.size_mm", start(v1::start_cycle_request::Cycle::Plan(thin))),
    ];
    for (field, request) in cases {
        let status = cycles.start_cycle(request).await.expect_err(field);
        refused_field(&status, field);
    }
    let none = cycles.start_cycle(start(v1::start_cycle_request::Cycle::Recipe("swords".into()))).await.expect_err("unknown");
    assert_eq!(error(&none, Code::NotFound, "UNKNOWN_NAME")["what"], "recipe");
    let choice = v1::ChooseAnswerRequest { request_id: "x".into(), person: "Ada".into(), question_id: 1, choice: 99 };
    refused_field(&cycles.choose_answer(choice).await.expect_err("no such choice"), "choice");
    assert!(served.asked().is_empty(), "nothing of it reached the shop");
}

fn refused_field(status: &Status, field: &str) {
    error(status, Code::InvalidArgument, "BAD_FIELD");
    let details = status.get_error_details();
    let named = &details.bad_request().expect("a BadRequest").field_violations[0];
    assert_eq!(named.field, field, "{}", named.description);
    assert!(!named.description.is_empty());
}

#[tokio::test]
async fn an_answer_that_is_owed_says_neither_yes_nor_no() {
    let served = Served::start().await;
    let told = Arc::new(Notify::new());
    served.script(Script::Hold(Arc::clone(&told)));
    let mut cycles = served.cycles().await;
    let owed = cycles.hold_cycle(hold("one", "north")).await.expect_err("no answer yet");
    error(&owed, Code::DeadlineExceeded, "ANSWER_PENDING");
    let words = "whether it was accepted is not on record yet; a stop acts all the same";
    assert!(owed.message().starts_with(words), "{}", owed.message());
    told.notify_one();
    let answer = cycles.hold_cycle(hold("one", "north")).await.expect("answered").into_inner();
    assert_eq!(answer.text, "Done at last.");
    assert_eq!(served.asked().len(), 1, "the repeat waited with the first");
}

/// Goal: taking heat away does not wait for the record. Method: the journal's files are taken away under the running service, so that
/// nothing can be looked up and no answer can be kept; the stop reaches the shop all the same.
#[tokio::test]
async fn a_stop_goes_through_when_the_record_cannot_be_read() {
    let served = Served::start().await;
    for file in std::fs::read_dir(served.folder.path()).expect("the folder") {
        std::fs::remove_file(file.expect("an entry").path()).expect("removed");
    }
    served.cycles().await.hold_cycle(hold("one", "north")).await.expect_err("whether it is a repeat cannot be known");
    assert!(served.asked().is_empty());
    let stop = v1::StopRequest { request_id: "two".into(), person: "Ada".into(), furnace: "north".into() };
    let mut interlocks = served.interlocks().await;
    let asking = tokio::spawn(async move { interlocks.stop(stop).await });
    let reached = async {
        while served.asked().is_empty() {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    };
    tokio::time::timeout(Duration::from_secs(20), reached).await.expect("the shop is asked to stop");
    asking.abort();
    assert_eq!(served.asked().len(), 1);
    assert!(matches!(served.asked()[0].request, Request::Stop { furnace: Some(FurnaceId(0)) }));
}

#[tokio::test]
async fn bypasses_and_tests_reach_the_core_as_they_were_asked() {
    let served = Served::start().await;
    let mut interlocks = served.interlocks().await;
    let (person, furnace) = ("Ada".to_owned(), "south".to_owned());
    let limit: i32 = v1::InterlockKind::RunTimeLimit.into();
    for (id, for_ms) in [("a", 0), ("b", 3_600_000)] {
        let request = v1::BypassInterlockRequest {
            request_id: id.into(),
            person: person.clone(),
            furnace: furnace.clone(),
            interlock: limit,
            reason: "a long temper".into(),
            for_ms,
        };
        interlocks.bypass_interlock(request).await.expect("done");
    }
    // Nobody takes protection away, or says that it works, without a name.
    for nobody in ["", "  "] {
        let bypass = v1::BypassInterlockRequest {
            request_id: "x".into(),
            person: nobody.into(),
            furnace: furnace.clone(),
            interlock: limit,
            reason: "a long temper".into(),
            for_ms: 0,
        };
        refused_field(&interlocks.bypass_interlock(bypass).await.expect_err("by nobody"), "person");
        let attest = v1::ProveInterlockRequest {
            request_id: "x".into(),
            person: nobody.into(),
            furnace: furnace.clone(),
            interlock: limit,
            seen: Some(v1::ProofSeen { passed: true, how: "the relay dropped".into() }),
            call_off: false,
        };
        refused_field(&interlocks.prove_interlock(attest).await.expect_err("by nobody"), "person");
    }
    let restore = v1::RestoreInterlockRequest {
        request_id: "c".into(),
        person: person.clone(),
        furnace: furnace.clone(),
        interlock: limit,
    };
    interlocks.restore_interlock(restore.clone()).await.expect("done");
    let prove =
        v1::ProveInterlockRequest { request_id: "d".into(), person, furnace, interlock: limit, seen: None, call_off: false };
    interlocks.prove_interlock(prove.clone()).await.expect("done");
    let seen = Some(v1::ProofSeen { passed: true, how: "the relay dropped".into() });
    let seen = v1::ProveInterlockRequest { request_id: "g".into(), seen, ..prove.clone() };
    interlocks.prove_interlock(seen.clone()).await.expect("done");
    let off = v1::ProveInterlockRequest { request_id: "h".into(), call_off: true, ..prove };
    interlocks.prove_interlock(off).await.expect("done");
    let both = v1::ProveInterlockRequest { request_id: "i".into(), call_off: true, ..seen };
    let refused = interlocks.prove_interlock(both).await.expect_err("which?");
    assert!(refused.code() == Code::InvalidArgument && refused.message().contains("call_off"), "{refused}");
    let (south, interlock) = (FurnaceId(1), InterlockKind::RunTimeLimit);
    let bypass = |span| Request::Bypass { furnace: south, interlock, reason: "a long temper".into(), span };
    let expected = [
        bypass(None),
        bypass(Some(Duration::from_secs(3600))),
        Request::Restore { furnace: south, interlock },
        Request::Prove { furnace: south, interlock, wall_ms: 1_700_000_000_123 },
        Request::Attest { furnace: south, interlock, passed: true, how: "the relay dropped".into(), wall_ms: 1_700_000_000_123 },
        Request::CallOff { furnace: south, interlock },
    ];
    assert_eq!(served.asked().into_iter().map(|command| command.request).collect::<Vec<_>>(), expected);
    for nothing in [
        v1::RestoreInterlockRequest { interlock: 0, request_id: "e".into(), ..restore.clone() },
        v1::RestoreInterlockRequest { furnace: String::new(), request_id: "f".into(), ..restore },
    ] {
        let refused = interlocks.restore_interlock(nothing).await.expect_err("which?");
        assert_eq!(refused.code(), Code::InvalidArgument);
    }
}
