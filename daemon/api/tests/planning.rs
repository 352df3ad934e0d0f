//! Goal: the planner answers over the API what the arithmetic says, and refuses with the field or the reason. Method: a client.

use hearthward_proto::v1;
use hearthward_proto::v1::plan_item::Value;
use hearthward_proto::v1::planning_service_client::PlanningServiceClient;
use tonic::Code;
use tonic_types::StatusExt;

use crate::common::Served;

fn purge() -> v1::PlanPurgeRequest {
    v1::PlanPurgeRequest { chamber_l: 9.4, flow_l_min: 8.0, gas_oxygen_ppm: Some(5.0), room_c: Some(25.0), ..Default::default() }
}

#[tokio::test]
async fn a_question_is_answered_with_numbers_words_and_what_was_taken() {
    let served = Served::start().await;
    let mut client = PlanningServiceClient::new(served.channel().await);
    let answer = client.plan_purge(purge()).await.expect("answers").into_inner().answer.expect("an answer");
    let item = answer.items.iter().find(|item| item.key == "time_s").expect("the time");
    // Worked by hand: 7.698 changes of 9.4 L at 25 °C and 8 L/min at 21.1 °C are 8.9275 min.
    assert!(matches!(item.value, Some(Value::Number(s)) if (s / 60.0 - 8.927_504).abs() < 1e-3), "{item:?}");
    assert!(answer.text.contains("time to the level: 8.93 min"));
    let taken = |note: &v1::PlanNote| note.kind() == v1::PlanNoteKind::Assumed && note.text.contains("argon");
    assert!(answer.notes.iter().any(taken) && !answer.warnings.is_empty());
}

#[tokio::test]
async fn a_refusal_names_the_field_or_the_reason() {
    let served = Served::start().await;
    let mut client = PlanningServiceClient::new(served.channel().await);
    let meter = Some(v1::PlanMeter { full_scale_l_min: -1.0, ..Default::default() });
    let status = client.plan_purge(v1::PlanPurgeRequest { meter, ..purge() }).await.expect_err("refused");
    assert_eq!(status.code(), Code::InvalidArgument);
    let details = status.get_error_details();
    let violation = &details.bad_request().expect("the field").field_violations[0];
    assert_eq!(violation.field, "meter.full_scale_l_min");
    assert!(violation.description.contains("-1 L/min; it must lie between 0.001 and 10000 L/min"), "{}", violation.description);
    let gas = "argon + 18 % CO2".to_owned();
    let status = client.plan_purge(v1::PlanPurgeRequest { gas, ..purge() }).await.expect_err("refused");
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert_eq!(status.get_error_details().error_info().expect("the reason").reason, "REFUSED");
    assert!(status.message().contains("does not protect steel"));
}

#[tokio::test]
async fn every_question_is_served() {
    let served = Served::start().await;
    let mut client = PlanningServiceClient::new(served.channel().await);
    let section = Some(v1::PlanSection { shape: v1::SectionShape::Plate.into(), size_mm: 3.0 });
    let steel = || "L6".to_owned();
    let cylinder = v1::PlanCylinderRequest { volume_l: 10.0, gauge_bar: Some(165.0), ..Default::default() };
    let heat_up = v1::PlanHeatUpRequest { section, steel: steel(), ..Default::default() };
    let transfer = v1::PlanTransferRequest { section, steel: steel(), time_s: Some(2.0), ..Default::default() };
    let bath = v1::PlanBathRequest {
        volume_l: 12.0,
        temperature_c: Some(48.0),
        section,
        part_kg: 0.2,
        steel: steel(),
        ..Default::default()
    };
    let temper = v1::PlanTemperRequest { steel: steel(), hardness_hrc: Some(58.0), ..Default::default() };
    let cycle = v1::PlanCycleRequest {
        steel: steel(),
        section,
        purge: Some(purge()),
        cylinder: Some(cylinder.clone()),
        transfer: Some(transfer.clone()),
        bath: Some(bath.clone()),
        ..Default::default()
    };
    let whole = client.plan_cycle(cycle).await.expect("a cycle").into_inner().answers;
    assert_eq!(whole.len(), 7);
    let interrupted = v1::PlanInterruptedRequest {
        chamber_l: 9.4,
        now_c: 800.0,
        holding_w: 700.0,
        falls_k_min: 5.0,
        surface_cm2: 800.0,
        ..Default::default()
    };
    let record = include_str!("../../process/tests/data/identification.csv").lines().filter(|line| line.starts_with("A medium"));
    let readings = record
        .map(|line| {
            let field = |place| line.split(',').nth(place).and_then(|text| text.parse::<f64>().ok()).expect("a number");
            v1::PlanFurnaceReading { time_min: field(1) / 60.0, chamber_c: field(4), power_w: field(2) }
        })
        .collect();
    let furnace = v1::PlanFurnaceRequest { readings, room_c: Some(25.0), ..Default::default() };
    let bag = v1::PlanMeterCheckRequest { bag_l: 5.0, time_s: 175.0, reading_l_min: 2.0, ..Default::default() };
    let strips =
        Some(v1::PlanStrips { gain_kg: 2.5e-6, surface_cm2: 20.0, steel_cm2: 800.0, time_min: 70.0, flow_l_min: Some(2.0) });
    let leak = v1::PlanLeakRequest { strips, ..Default::default() };
    let plates = v1::PlanPlatesRequest { section, part_kg: 0.15, plates_kg: 6.0, steel: "A2".to_owned(), ..Default::default() };
    let answers = [
        client.plan_leak(leak).await.expect("a leak").into_inner().answer,
        client.plan_meter_check(bag).await.expect("a meter").into_inner().answer,
        client.plan_plates(plates).await.expect("plates").into_inner().answer,
        client.plan_interrupted(interrupted).await.expect("a cut").into_inner().answer,
        client.plan_furnace(furnace).await.expect("a furnace").into_inner().answer,
        client.plan_cylinder(cylinder).await.expect("a cylinder").into_inner().answer,
        client.plan_heat_up(heat_up).await.expect("a heat-up").into_inner().answer,
        client.plan_transfer(transfer).await.expect("a transfer").into_inner().answer,
        client.plan_bath(bath).await.expect("a bath").into_inner().answer,
        client.plan_temper(temper).await.expect("a temper").into_inner().answer,
    ];
    for answer in answers.map(|answer| answer.expect("an answer")).into_iter().chain(whole) {
        assert!(!answer.items.is_empty() && answer.text.starts_with(&answer.title), "{}", answer.title);
        for item in &answer.items {
            assert!(!item.basis.is_empty() && !item.shown.is_empty() && item.value.is_some(), "{item:?}");
        }
    }
}

#[tokio::test]
async fn a_whole_load_is_asked_in_its_room_and_on_its_ramp() {
    let served = Served::start().await;
    let mut client = PlanningServiceClient::new(served.channel().await);
    let section = Some(v1::PlanSection { shape: v1::SectionShape::Plate.into(), size_mm: 3.0 });
    let ramp = v1::PlanRamp { rate_k_min: 6.0, rated_w: 2200.0, holding_w: 700.0, falls_k_min: 5.0, ..Default::default() };
    let asked = v1::PlanCycleRequest {
        steel: "1084".to_owned(),
        section,
        room_c: Some(-15.0),
        purge: Some(v1::PlanPurgeRequest { room_c: None, hold_l_min: None, ..purge() }),
        ramp: Some(ramp),
        ..Default::default()
    };
    let answers = client.plan_cycle(asked).await.expect("a cycle").into_inner().answers;
    let number = |key: &str| {
        let item = answers.iter().flat_map(|answer| &answer.items).find(|item| item.key == key);
        item.and_then(|item| item.value.clone()).unwrap_or_else(|| panic!("no {key}"))
    };
    // 830 K from -15 to 815 °C at 6 K/min.
    assert!(matches!(number("ramp_s"), Value::Number(s) if (s - 830.0 / 6.0 * 60.0).abs() < 0.1));
    // The ramp's gas is the quarter of the purge that holds: 2 L/min of argon from -15 to 815 °C, 20.786 J/(mol K).
    let watts = 2.0 / 60.0 / 24.145 * 20.786 * 830.0;
    assert!(matches!(number("gas_heat_w"), Value::Number(w) if (w / watts - 1.0).abs() < 2e-3), "{:?}", number("gas_heat_w"));
    assert!(answers.iter().all(|answer| answer.notes.iter().all(|note| !note.text.contains("taken: the room: "))));
}

#[tokio::test]
async fn a_room_s_own_level_is_the_one_that_is_judged_by() {
    let served = Served::start().await;
    let mut client = PlanningServiceClient::new(served.channel().await);
    let mut ask = async |alarm_percent| {
        let room = Some(v1::PlanRoom { volume_m3: 60.0, air_changes_per_h: Some(1.0), alarm_percent });
        let draws = vec![v1::PlanDraw { flow_l_min: 8.0, time_min: 30.0 }];
        let asked = v1::PlanCylinderRequest { volume_l: 10.0, gauge_bar: Some(165.0), draws, room, ..Default::default() };
        client.plan_cylinder(asked).await.expect("a cylinder").into_inner().answer.expect("an answer")
    };
    // 8 L/min into 60 m³ with one change an hour settle at 0.2095 of 60 in 60.48: 20.78 %.
    let usual = ask(None).await;
    assert!(usual.text.contains("fresh air that keeps it at 19.5 %") && !usual.text.contains("this flow would take"));
    let strict = ask(Some(20.8)).await;
    assert!(strict.text.contains("this flow would take the room below 20.8 % oxygen"), "{}", strict.text);
}

#[tokio::test]
async fn an_abandoned_load_cools_as_its_furnace_does() {
    let served = Served::start().await;
    let mut client = PlanningServiceClient::new(served.channel().await);
    let mut needed_l = async |cooling_min| {
        let section = Some(v1::PlanSection { shape: v1::SectionShape::Plate.into(), size_mm: 3.0 });
        let ramp = v1::PlanRamp { rate_k_min: 6.0, rated_w: 2200.0, holding_w: 700.0, falls_k_min: 5.0, ..Default::default() };
        let asked = v1::PlanCycleRequest {
            steel: "1084".to_owned(),
            section,
            purge: Some(v1::PlanPurgeRequest { room_c: None, ..purge() }),
            cylinder: Some(v1::PlanCylinderRequest { volume_l: 40.0, gauge_bar: Some(165.0), ..Default::default() }),
            ramp: Some(ramp),
            cooling_min,
            ..Default::default()
        };
        let answers = client.plan_cycle(asked).await.expect("a cycle").into_inner().answers;
        let item = answers.iter().flat_map(|answer| &answer.items).find(|item| item.key == "needed_l").cloned();
        match item.and_then(|item| item.value) {
            Some(Value::Number(litres)) => litres,
            other => panic!("no litres: {other:?}"),
        }
    };
    // 795 K over the room, falling by 5 K/min at first: 159 min, times ln(795/380) down to 400 °C, 117.4 min of 2 L/min.
    let reserve_l = needed_l(None).await - needed_l(Some(0.0)).await;
    assert!((reserve_l / (2.0 * 159.0 * (795.0_f64 / 380.0).ln()) - 1.0).abs() < 1e-6, "{reserve_l}");
}

#[tokio::test]
async fn without_a_cylinder_nothing_is_said_of_its_reserve() {
    let served = Served::start().await;
    let mut client = PlanningServiceClient::new(served.channel().await);
    let mut says_so = async |cylinder| {
        let section = Some(v1::PlanSection { shape: v1::SectionShape::Plate.into(), size_mm: 3.0 });
        let purge = Some(purge());
        let asked = v1::PlanCycleRequest { steel: "1084".to_owned(), section, purge, cylinder, ..Default::default() };
        let answers = client.plan_cycle(asked).await.expect("a cycle").into_inner().answers;
        answers.iter().flat_map(|answer| &answer.notes).any(|note| note.text.contains("an abandoned load cools under gas"))
    };
    let cylinder = v1::PlanCylinderRequest { volume_l: 40.0, gauge_bar: Some(165.0), ..Default::default() };
    assert!(says_so(Some(cylinder)).await);
    assert!(!says_so(None).await);
    let cooled = v1::PlanCycleRequest { steel: "1084".to_owned(), cooling_min: Some(30.0), ..Default::default() };
    let section = Some(v1::PlanSection { shape: v1::SectionShape::Plate.into(), size_mm: 3.0 });
    let refused = client.plan_cycle(v1::PlanCycleRequest { section, ..cooled }).await.expect_err("there is no reserve");
    assert!(refused.message().contains("cooling_min does nothing without a cylinder"), "{}", refused.message());
}

#[tokio::test]
async fn what_cannot_be_together_is_refused_by_its_field() {
    let served = Served::start().await;
    let mut client = PlanningServiceClient::new(served.channel().await);
    let refused = |status: tonic::Status| {
        let details = status.get_error_details();
        let violation = details.bad_request().expect("the field").field_violations[0].clone();
        (violation.field, violation.description)
    };
    let section = Some(v1::PlanSection { shape: v1::SectionShape::Plate.into(), size_mm: 3.0 });
    let transfer = |limit_c| v1::PlanTransferRequest {
        section,
        heat_c: Some(815.0),
        time_s: Some(2.0),
        limit_c: Some(limit_c),
        ..Default::default()
    };
    let (field, why) = refused(client.plan_transfer(transfer(815.0)).await.expect_err("refused"));
    assert_eq!((field.as_str(), why.as_str()), ("limit_c", "is 815 °C, but must lie below the heat of 815 °C"));
    assert!(client.plan_transfer(transfer(814.0)).await.is_ok());
    let bath = v1::PlanBathRequest {
        volume_l: 12.0,
        temperature_c: Some(48.0),
        section,
        part_kg: 0.2,
        heat_c: Some(815.0),
        limit_c: Some(830.0),
        ..Default::default()
    };
    assert_eq!(refused(client.plan_bath(bath).await.expect_err("refused")).0, "limit_c");
    let meter = |back_bar| {
        Some(v1::PlanMeter { full_scale_l_min: 20.0, line_bar: Some(1.0), back_bar: Some(back_bar), ..Default::default() })
    };
    let (field, why) =
        refused(client.plan_purge(v1::PlanPurgeRequest { meter: meter(1.5), ..purge() }).await.expect_err("refused"));
    assert!(field == "meter.back_bar" && why.contains("above line_bar"), "{field}: {why}");
    assert!(client.plan_purge(v1::PlanPurgeRequest { meter: meter(0.5), ..purge() }).await.is_ok());
}

#[tokio::test]
async fn a_cut_far_above_the_steel_s_range_is_cautioned_of() {
    let served = Served::start().await;
    let mut client = PlanningServiceClient::new(served.channel().await);
    let mut ask = async |now_c| {
        let asked = v1::PlanInterruptedRequest {
            chamber_l: 9.4,
            now_c,
            holding_w: 700.0,
            falls_k_min: 5.0,
            surface_cm2: 800.0,
            steel: "O1".to_owned(),
            ..Default::default()
        };
        client.plan_interrupted(asked).await.expect("a cut").into_inner().answer.expect("an answer").text
    };
    // O1 is austenitized at 790 to 815 °C.
    assert!(ask(1000.0).await.contains("1000 °C is far above: the austenitizing range of O1"), "{}", ask(1000.0).await);
    assert!(ask(850.0).await.contains("850 °C is too hot") && !ask(810.0).await.contains("austenitizing range"));
}

#[tokio::test]
async fn a_cycle_with_values_of_one_s_own_is_answered_with_a_recipe() {
    let served = Served::start().await;
    let mut client = PlanningServiceClient::new(served.channel().await);
    let section = Some(v1::PlanSection { shape: v1::SectionShape::Plate.into(), size_mm: 3.0 });
    let tempers = [(205.0, Some(120.0)), (190.0, None)];
    let asked = v1::PlanCycleRequest {
        steel: "L6".to_owned(),
        section,
        heat_c: Some(805.0),
        soak_min: Some(5.0),
        preheat_c: Some(600.0),
        tempers: tempers.map(|(temperature_c, time_min)| v1::PlanTemper { temperature_c, time_min }).into(),
        recipe: Some(v1::PlanRecipe { name: "irons".to_owned(), tank: "fast-oil".to_owned() }),
        ..Default::default()
    };
    let whole = client.plan_cycle(asked.clone()).await.expect("a cycle").into_inner();
    let first = whole.answers.first().expect("the cycle");
    assert!(first.warnings.iter().any(|note| note.text.contains("a soak of 5 min is shorter than the 10 min")), "{}", first.text);
    for line in [
        // The core is there after 5.78 min, as the answer says; a recipe has full minutes.
        "    { step = \"preheat\", to = \"600 C\", hold = \"6 min\" },",
        "    { step = \"soak\", at = \"805 C\", minimum = \"5 min\", maximum = \"30 min\" },",
        "    { step = \"quench\", tank = \"fast-oil\", under = \"2 min\" },",
        "    { step = \"temper\", at = \"190 C\", hold = \"120 min\", within = \"2 h\" },",
    ] {
        assert!(whole.recipe.lines().any(|one| one == line), "{line}: {}", whole.recipe);
    }
    let without = v1::PlanCycleRequest { recipe: None, ..asked.clone() };
    assert_eq!(client.plan_cycle(without).await.expect("a cycle").into_inner().recipe, "");
    let both = v1::PlanCycleRequest { hardness_hrc: Some(60.0), ..asked };
    let refused = client.plan_cycle(both).await.expect_err("contradictory");
    assert!(refused.message().contains("tempers contradict hardness_hrc"), "{}", refused.message());
}
