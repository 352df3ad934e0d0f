//! The guest itself.

use std::cell::RefCell;

use hearthward_driver::bindings::base::exports::hearthward::equipment::driver::Guest as Driver;
use hearthward_driver::bindings::furnace::exports::hearthward::equipment::furnace::Guest as Furnace;
use hearthward_driver::bindings::points::exports::hearthward::equipment::points::Guest as Points;
use hearthward_driver::{
    Bus, Clock, Description, Fault, FurnaceReading, HeatCommand, Host, Level, Named, Number, Point, Problem, Quality, Unit,
    Value, fault, frame, glue, log, reading,
};

use crate::{MISDEEDS, Misdeed, PANIC_WORDS};

struct Hostile;

#[derive(Clone, Copy)]
struct Plan {
    misdeed: Misdeed,
    good_reads: u64,
    reads: u64,
}

thread_local! {
    static PLAN: RefCell<Plan> = const { RefCell::new(Plan { misdeed: Misdeed::None, good_reads: 0, reads: 0 }) };
}

impl Driver for Hostile {
    fn describe() -> Description {
        glue::install_panic_hook();
        reading::description("hostile", env!("CARGO_PKG_VERSION"))
    }

    fn check(settings: Vec<Named>, _lines: Vec<String>) -> Result<Vec<Unit>, Vec<Problem>> {
        let plan = plan(&settings)?;
        if plan.misdeed == Misdeed::LoopInCheck {
            spin();
        }
        Ok(units())
    }

    fn open(settings: Vec<Named>, _lines: Vec<String>) -> Result<Vec<Unit>, Fault> {
        glue::install_panic_hook();
        let plan = plan(&settings).map_err(|_| fault::not_allowed("the settings are wrong"))?;
        PLAN.with(|kept| *kept.borrow_mut() = plan);
        if plan.misdeed == Misdeed::LoopInOpen {
            spin();
        }
        Ok(units())
    }

    fn close() {}
}

impl Furnace for Hostile {
    fn read(_unit: u32) -> Result<FurnaceReading, Fault> {
        let misdeed = PLAN.with(|plan| {
            let plan = &mut *plan.borrow_mut();
            plan.reads += 1;
            if plan.reads > plan.good_reads { plan.misdeed } else { Misdeed::None }
        });
        misbehave(misdeed)
    }

    fn heat(_unit: u32, _command: HeatCommand) -> Result<FurnaceReading, Fault> {
        Ok(shown(number(25.0)))
    }

    fn cut(_unit: u32) -> Result<FurnaceReading, Fault> {
        Ok(shown(number(25.0)))
    }
}

impl Points for Hostile {
    fn read(_unit: u32) -> Result<Vec<Point>, Fault> {
        Ok(Vec::new())
    }

    fn write(_unit: u32, _name: String, _value: Value) -> Result<Point, Fault> {
        Err(fault::not_supported("nothing can be written"))
    }
}

fn plan(settings: &[Named]) -> Result<Plan, Vec<Problem>> {
    let mut plan = Plan { misdeed: Misdeed::None, good_reads: 0, reads: 0 };
    for setting in settings {
        match (setting.name.as_str(), &setting.value) {
            ("fault", Value::Text(word)) => {
                let found = MISDEEDS.iter().find(|(known, _)| known == word);
                plan.misdeed = found.map(|(_, misdeed)| *misdeed).ok_or_else(|| problem("fault", "is no misdeed"))?;
            }
            ("good_reads", value) => plan.good_reads = reading::as_whole(value).unwrap_or(0).unsigned_abs(),
            (other, _) => return Err(problem(other, "is not known")),
        }
    }
    Ok(plan)
}

fn problem(key: &str, message: &str) -> Vec<Problem> {
    vec![Problem { key: key.to_owned(), message: message.to_owned() }]
}

fn units() -> Vec<Unit> {
    vec![reading::unit("victim", "furnace", &["temperature"])]
}

fn number(value: f64) -> Number {
    Number { value, quality: Quality::Good }
}

fn shown(temperature_c: Number) -> FurnaceReading {
    FurnaceReading {
        temperature_c: Some(temperature_c),
        set_point_c: None,
        output_share: None,
        heat_on: None,
        door_open: None,
        over_temperature: None,
        points: Vec::new(),
    }
}

fn misbehave(misdeed: Misdeed) -> Result<FurnaceReading, Fault> {
    match misdeed {
        Misdeed::None | Misdeed::LoopInOpen | Misdeed::LoopInCheck => Ok(shown(number(25.0))),
        Misdeed::EndlessLoop => spin(),
        Misdeed::Trap => std::process::abort(),
        Misdeed::Panic => panic!("{PANIC_WORDS}"),
        Misdeed::Recursion => Ok(shown(number(recurse(1) as f64))),
        Misdeed::MemoryBomb => {
            let mut all: Vec<Vec<u8>> = Vec::new();
            loop {
                all.push(vec![0xA5; 64 << 10]);
            }
        }
        Misdeed::GiantResult => {
            let point = || reading::point(&"p".repeat(1000), "text", Value::Text("x".repeat(1000)), Quality::Good);
            Ok(FurnaceReading { points: (0..1000).map(|_| point()).collect(), ..shown(number(25.0)) })
        }
        Misdeed::CallFlood => loop {
            std::hint::black_box(Host.now_ms());
        },
        Misdeed::LogFlood => {
            for line in 0..5_000_u32 {
                log(Level::Error, &format!("flood {line} {}", "y".repeat(200)));
            }
            Ok(shown(number(25.0)))
        }
        Misdeed::SlowRead => {
            // A request that nobody answers, and a reply rule that nothing satisfies.
            let request = [0, 1, 0, 0, 0, 6, 99, 3, 0, 0, 0, 1];
            Host.exchange(0, &request, &[frame::fixed(4096)], u32::MAX)?;
            Ok(shown(number(25.0)))
        }
        Misdeed::LyingValues => Ok(FurnaceReading {
            set_point_c: Some(number(1e300)),
            output_share: Some(number(f64::NEG_INFINITY)),
            points: vec![
                Point {
                    name: "lie".to_owned(),
                    quantity: "temperature_c".to_owned(),
                    value: Value::Number(1e300),
                    quality: Quality::Good,
                },
                Point {
                    name: "nan".to_owned(),
                    quantity: "share".to_owned(),
                    value: Value::Number(f64::NAN),
                    quality: Quality::Good,
                },
            ],
            ..shown(number(f64::NAN))
        }),
        Misdeed::BadNames => Ok(FurnaceReading {
            points: vec![Point {
                name: "../../etc \u{0} \u{202e}".to_owned(),
                quantity: "no such quantity".to_owned(),
                value: Value::Flag(true),
                quality: Quality::Good,
            }],
            ..shown(number(25.0))
        }),
        Misdeed::OtherLine => {
            Host.exchange(17, &[1, 2, 3], &[frame::fixed(1)], 100)?;
            Ok(shown(number(25.0)))
        }
    }
}

fn spin() -> ! {
    let mut at = 0_u64;
    loop {
        at = std::hint::black_box(at.wrapping_add(1));
    }
}

fn recurse(depth: u64) -> u64 {
    let here = std::hint::black_box([depth; 64]);
    if depth == 0 { 0 } else { recurse(here[3] + 1) + here[5] }
}

hearthward_driver::bindings::base::export_base!(Hostile);
hearthward_driver::bindings::furnace::export_furnace!(Hostile);
hearthward_driver::bindings::points::export_points!(Hostile);
