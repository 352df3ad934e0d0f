//! Goal: the ranges that `planning.proto` documents are those that are enforced. Method: each is read from the comment of its field;
//! its ends are taken, and a little beyond each is refused by that field's name.

use hearthward_api::planning::{self, Unplanned};
use hearthward_proto::v1;
use prost::Message;
use prost_reflect::{DescriptorPool, DynamicMessage, Value};

/// A field's comment as far as its range goes.
struct Documented {
    message: String,
    field: String,
    low: Option<f64>,
    high: f64,
}

fn documented() -> Vec<Documented> {
    let text = include_str!("../../../../proto/hearthward/v1/planning.proto");
    let (mut found, mut message, mut comment) = (Vec::new(), String::new(), String::new());
    for line in text.lines().map(str::trim) {
        if let Some(words) = line.strip_prefix("//") {
            comment += words;
            continue;
        }
        if let Some(name) = line.strip_prefix("message ") {
            message = name.trim_end_matches(" {").to_owned();
        }
        let mut words = line.trim_start_matches("optional ").split(' ');
        if let (Some("double"), Some(field), Some((low, high))) = (words.next(), words.next(), range(&comment)) {
            found.push(Documented { message: message.clone(), field: field.to_owned(), low, high });
        }
        comment.clear();
    }
    found
}

/// The first "LOW to HIGH" of a comment, or "to HIGH" alone where what it begins at is said in words. Thousands stand apart.
fn range(comment: &str) -> Option<(Option<f64>, f64)> {
    let words: Vec<&str> = comment.split_whitespace().collect();
    let number = |word: &str| word.trim_end_matches(['.', ',', ';', ':']).parse::<f64>().ok();
    let thousand = |word: &&str| word.bytes().take_while(u8::is_ascii_digit).count() == 3;
    (0..words.len()).filter(|&at| words[at] == "to").find_map(|at| {
        let first = *words.get(at + 1)?;
        number(first)?;
        let mut high = first.to_owned();
        for word in words[at + 2..].iter().take_while(|word| first.len() <= 3 && thousand(word)) {
            high += word;
        }
        let before = &words[..at];
        let groups = before.iter().rev().take_while(|word| word.len() == 3 && number(word).is_some()).count();
        let low = before.last().and_then(|word| number(word)).map(|last| {
            let joined = before[before.len().saturating_sub(groups + 1)..].concat();
            if groups == 0 { last } else { joined.parse().unwrap_or(last) }
        });
        Some((low, number(&high)?))
    })
}

/// The request that a message of the file sits in, and where.
fn host(message: &str) -> Option<(&'static str, Vec<&'static str>)> {
    Some(match message {
        "PlanSection" => ("PlanHeatUpRequest", vec!["section"]),
        "PlanPores" => ("PlanPurgeRequest", vec!["pores"]),
        "PlanMeter" => ("PlanPurgeRequest", vec!["meter"]),
        "PlanPort" => ("PlanPurgeRequest", vec!["port"]),
        "PlanGaps" => ("PlanPurgeRequest", vec!["gaps"]),
        "PlanExposed" => ("PlanPurgeRequest", vec!["exposed"]),
        "PlanDraw" => ("PlanCylinderRequest", vec!["draws"]),
        "PlanRoom" => ("PlanCylinderRequest", vec!["room"]),
        "PlanEvening" => ("PlanCylinderRequest", vec!["evening"]),
        "PlanRamp" => ("PlanHeatUpRequest", vec!["ramp"]),
        "PlanTemper" => ("PlanCycleRequest", vec!["tempers"]),
        "PlanTaper" => ("PlanTransferRequest", vec!["taper"]),
        "PlanTank" => ("PlanBathRequest", vec!["tank"]),
        "PlanFurnaceReading" => ("PlanFurnaceRequest", vec!["readings"]),
        "PlanProbeReading" => ("PlanLeakRequest", vec!["readings"]),
        "PlanStrips" => ("PlanLeakRequest", vec!["strips"]),
        other => (REQUESTS.into_iter().find(|name| *name == other)?, Vec::new()),
    })
}

const REQUESTS: [&str; 12] = [
    "PlanPurgeRequest",
    "PlanCylinderRequest",
    "PlanHeatUpRequest",
    "PlanTransferRequest",
    "PlanBathRequest",
    "PlanTemperRequest",
    "PlanInterruptedRequest",
    "PlanFurnaceRequest",
    "PlanLeakRequest",
    "PlanMeterCheckRequest",
    "PlanPlatesRequest",
    "PlanCycleRequest",
];

fn section() -> Option<v1::PlanSection> {
    Some(v1::PlanSection { shape: v1::SectionShape::Plate.into(), size_mm: 3.0 })
}

/// A request with every part that has fields of its own. `strips` picks between the two ways to ask for a leak.
fn base(request: &str, strips: bool) -> Vec<u8> {
    let steel = || "O1".to_owned();
    match request {
        "PlanPurgeRequest" => v1::PlanPurgeRequest {
            chamber_l: 9.4,
            flow_l_min: 8.0,
            pores: Some(v1::PlanPores { volume_l: 2.0, ..Default::default() }),
            meter: Some(v1::PlanMeter {
                full_scale_l_min: 10.0,
                float: v1::FloatShape::Ball.into(),
                bore_mm: Some(6.0),
                ..Default::default()
            }),
            port: Some(v1::PlanPort { bore_mm: 4.5, height_mm: 150.0 }),
            gaps: Some(v1::PlanGaps { height_mm: 150.0, width_mm: 0.3, length_mm: 200.0, ..Default::default() }),
            exposed: Some(v1::PlanExposed { surface_cm2: 300.0, time_min: 60.0, ..Default::default() }),
            ..Default::default()
        }
        .encode_to_vec(),
        "PlanCylinderRequest" => v1::PlanCylinderRequest {
            volume_l: 10.0,
            gauge_bar: Some(150.0),
            filled_bar: Some(200.0),
            draws: vec![v1::PlanDraw { flow_l_min: 2.0, time_min: 30.0 }],
            room: Some(v1::PlanRoom { volume_m3: 60.0, ..Default::default() }),
            evening: Some(v1::PlanEvening { gauge_bar: 155.0, ago_h: 12.0, ..Default::default() }),
            ..Default::default()
        }
        .encode_to_vec(),
        "PlanHeatUpRequest" => v1::PlanHeatUpRequest {
            section: section(),
            heat_c: Some(800.0),
            ramp: Some(v1::PlanRamp {
                rate_k_min: 6.0,
                rated_w: 2200.0,
                holding_w: 700.0,
                falls_k_min: 5.0,
                ..Default::default()
            }),
            ..Default::default()
        }
        .encode_to_vec(),
        "PlanTransferRequest" => v1::PlanTransferRequest {
            section: section(),
            heat_c: Some(800.0),
            time_s: Some(2.0),
            taper: Some(v1::PlanTaper { edge_mm: 0.5, back_mm: None, width_mm: 15.0 }),
            ..Default::default()
        }
        .encode_to_vec(),
        "PlanBathRequest" => v1::PlanBathRequest {
            volume_l: 12.0,
            temperature_c: Some(48.0),
            section: section(),
            part_kg: 0.2,
            heat_c: Some(800.0),
            tank: Some(v1::PlanTank { surface_cm2: 400.0, freeboard_mm: None, part_mm: None }),
            ..Default::default()
        }
        .encode_to_vec(),
        "PlanTemperRequest" => v1::PlanTemperRequest { temperature_c: Some(205.0), ..Default::default() }.encode_to_vec(),
        "PlanInterruptedRequest" => v1::PlanInterruptedRequest {
            chamber_l: 9.4,
            now_c: 800.0,
            holding_w: 700.0,
            falls_k_min: 5.0,
            surface_cm2: 300.0,
            ..Default::default()
        }
        .encode_to_vec(),
        "PlanFurnaceRequest" => v1::PlanFurnaceRequest {
            readings: vec![v1::PlanFurnaceReading { time_min: 1.0, chamber_c: 20.0, power_w: 2200.0 }; 25],
            ..Default::default()
        }
        .encode_to_vec(),
        "PlanLeakRequest" if strips => v1::PlanLeakRequest {
            strips: Some(v1::PlanStrips {
                gain_kg: 2.5e-6,
                surface_cm2: 20.0,
                steel_cm2: 800.0,
                time_min: 70.0,
                flow_l_min: Some(2.0),
            }),
            ..Default::default()
        }
        .encode_to_vec(),
        "PlanLeakRequest" => v1::PlanLeakRequest {
            chamber_l: 9.4,
            readings: vec![v1::PlanProbeReading { time_min: 1.0, oxygen_ppm: 100.0, flow_l_min: 8.0 }],
            ..Default::default()
        }
        .encode_to_vec(),
        "PlanMeterCheckRequest" => {
            v1::PlanMeterCheckRequest { bag_l: 5.0, time_s: 175.0, reading_l_min: 2.0, ..Default::default() }.encode_to_vec()
        }
        "PlanPlatesRequest" => {
            v1::PlanPlatesRequest { section: section(), part_kg: 0.2, heat_c: Some(900.0), plates_kg: 6.0, ..Default::default() }
                .encode_to_vec()
        }
        _ => v1::PlanCycleRequest {
            steel: steel(),
            section: section(),
            tempers: vec![v1::PlanTemper { temperature_c: 205.0, time_min: None }],
            ..Default::default()
        }
        .encode_to_vec(),
    }
}

/// The field and the words of a refusal.
fn refusal(request: &str, bytes: &[u8]) -> Option<(String, String)> {
    fn decoded<M: Message + Default>(bytes: &[u8]) -> M {
        M::decode(bytes).expect("a message of its kind")
    }
    let answered = match request {
        "PlanPurgeRequest" => planning::purge(&decoded(bytes)).err(),
        "PlanCylinderRequest" => planning::cylinder(&decoded(bytes)).err(),
        "PlanHeatUpRequest" => planning::heat_up(&decoded(bytes)).err(),
        "PlanTransferRequest" => planning::transfer(&decoded(bytes)).err(),
        "PlanBathRequest" => planning::bath(&decoded(bytes)).err(),
        "PlanTemperRequest" => planning::temper(&decoded(bytes)).err(),
        "PlanInterruptedRequest" => planning::interrupted(&decoded(bytes)).err(),
        "PlanFurnaceRequest" => planning::furnace(&decoded(bytes)).err(),
        "PlanLeakRequest" => planning::leak(&decoded(bytes)).err(),
        "PlanMeterCheckRequest" => planning::meter_check(&decoded(bytes)).err(),
        "PlanPlatesRequest" => planning::plates(&decoded(bytes)).err(),
        _ => planning::cycle(&decoded(bytes)).err(),
    };
    match answered? {
        Unplanned::Field { field, why } => Some((field, why)),
        Unplanned::Refused(words) => Some((String::new(), words)),
    }
}

/// The request with one number set.
fn with(pool: &DescriptorPool, request: &str, path: &[&str], field: &str, value: f64) -> Vec<u8> {
    let descriptor = pool.get_message_by_name(&format!("{}.{request}", hearthward_proto::PACKAGE)).expect("of the package");
    let bytes = base(request, path == ["strips"]);
    let mut whole = DynamicMessage::decode(descriptor, bytes.as_slice()).expect("a message of its kind");
    let mut inner = &mut whole;
    for part in path {
        inner = match inner.get_field_by_name_mut(part).expect("a field") {
            Value::List(list) => list.first_mut().and_then(Value::as_message_mut).expect("a first one"),
            value => value.as_message_mut().expect("a message"),
        };
    }
    inner.set_field_by_name(field, Value::F64(value));
    whole.encode_to_vec()
}

#[test]
fn documented_ranges_are_the_enforced_ones() {
    let pool = DescriptorPool::decode(hearthward_proto::FILE_DESCRIPTOR_SET).expect("descriptors");
    let (mut looked_at, mut wrong) = (0, Vec::new());
    for Documented { message, field, low, high } in documented() {
        let Some((request, path)) = host(&message) else { panic!("{message} sits in no request here") };
        let refused = |value: f64| {
            let said = refusal(request, &with(&pool, request, &path, &field, value));
            said.is_some_and(|(at, why)| {
                at.ends_with(&field) && (why.contains("must lie between") || why.contains("must be given"))
            })
        };
        let beyond = 1e-6 * high.abs().max(low.unwrap_or(0.0).abs());
        let mut expect = |value: f64, is_refused: bool| {
            if refused(value) != is_refused {
                wrong.push(format!("{message}.{field} at {value}, documented to {high}"));
            }
        };
        expect(high, false);
        expect(high + beyond, true);
        if let Some(low) = low {
            expect(low, false);
            expect(low - beyond, true);
        }
        looked_at += 1;
    }
    assert!(wrong.is_empty(), "documented is not enforced: {wrong:#?}");
    assert!(looked_at > 100, "only {looked_at} ranges were found in the comments");
}
