//! Rules of the shop's own: parsed as the Common Expression Language (an open specification, cel.dev), then taken apart into the core's
//! own typed form. The language is only the way of writing: what it would evaluate by itself is not used.

use std::time::Duration;

use cel::common::ast::{CallExpr, Expr, LiteralValue, operators};
use cel::parser::{Expression as Parsed, Parser};
use hearthward_equipment::{Name, PointId};
use hearthward_supervise::plan::{FurnacePlan, RoomPlan};
use hearthward_supervise::rule::{Draft, Expression, Input, MOST_RULES, Operator, Quantity, RulePlan};

use super::equipment::Finder;
use crate::settings::{RuleSettings, Settings};

/// Longest rule, in characters, and how deep its brackets may nest: what is longer nobody reads at the furnace.
const LONGEST: usize = 400;
const DEEPEST: u16 = 24;

/// Adds each rule to the furnaces that it is for, or notes why it cannot be.
pub(super) fn add(settings: &Settings, furnaces: &mut [FurnacePlan], room: &RoomPlan, finder: &mut Finder<'_>) {
    for rule in &settings.rules {
        let declared: Option<Vec<(String, Input)>> = rule
            .points
            .iter()
            .map(|known| {
                let point = finder.point(Some(&known.point), known.name.as_str())?;
                finder.check_age(&[Some(point)], rule.stale_after, &rule.home, &rule.key("stale_after"));
                Some((known.name.clone(), Input { point, quantity: known.quantity, stale_after: rule.stale_after }))
            })
            .collect();
        for missing in rule.furnaces.iter().filter(|name| !settings.furnace_names.contains(name)) {
            finder.note(&rule.home, rule.key("furnaces"), format!("names the furnace {missing}, which is not configured"));
        }
        // What a point lacks has been said.
        let Some(declared) = declared else { continue };
        let meant = |name: &Name| rule.furnaces.is_empty() || rule.furnaces.contains(name);
        for furnace in furnaces.iter_mut().filter(|furnace| meant(&furnace.name)) {
            let names = Names { furnace: &furnace.name, own: own(furnace, room), declared: &declared };
            match compile(&rule.when, &names) {
                Ok(when) if furnace.policy.rules.len() < MOST_RULES => furnace.policy.rules.push(plan(rule, when)),
                Ok(_) => {
                    let words = format!("is one more than the {MOST_RULES} rules that furnace {} may have", furnace.name);
                    finder.note(&rule.home, rule.key("furnaces"), words);
                }
                Err(words) => finder.note(&rule.home, rule.key("when"), words),
            }
        }
    }
}

fn plan(rule: &RuleSettings, when: Expression) -> RulePlan {
    RulePlan {
        name: rule.name.clone(),
        text: rule.text.clone(),
        source: rule.when.clone(),
        when,
        effect: rule.effect,
        latch: rule.latch,
        after: rule.after,
    }
}

/// What a rule of one furnace may name.
struct Names<'a> {
    furnace: &'a Name,
    own: [Own; 8],
    declared: &'a [(String, Input)],
}

/// A reading of the furnace itself, as rules name it.
#[derive(Clone, Copy)]
struct Own {
    name: &'static str,
    quantity: Quantity,
    /// Where it is read; nothing where it is not wired.
    point: Option<PointId>,
    stale_after: Duration,
    /// What it is called in words.
    words: &'static str,
}

fn own(furnace: &FurnacePlan, room: &RoomPlan) -> [Own; 8] {
    let of = |name, quantity, point, words| Own { name, quantity, point, stale_after: furnace.stale_after, words };
    let flow = furnace.gas.as_ref().filter(|gas| !gas.by_eye).map(|gas| gas.flow);
    [
        of("temperature_c", Quantity::Temperature, Some(furnace.temperature), "thermometer"),
        of("load_temperature_c", Quantity::Temperature, furnace.load_temperature, "thermometer at its load"),
        of("set_point_c", Quantity::Temperature, furnace.set_point, "set point that can be read"),
        of("output_share", Quantity::Share, furnace.output_share, "output share that can be read"),
        of("door_open", Quantity::Flag, furnace.door, "door switch"),
        of("probe_share", Quantity::Share, furnace.probe, "oxygen probe"),
        of("flow_l_min", Quantity::GasFlow, flow, "gas meter that is read by itself"),
        Own {
            stale_after: room.stale_after,
            ..of("room_oxygen_share", Quantity::Share, room.oxygen, "oxygen monitor in its room")
        },
    ]
}

impl Names<'_> {
    fn find(&self, name: &str) -> Result<Input, String> {
        if let Some((_, input)) = self.declared.iter().find(|(known, _)| known == name) {
            return Ok(*input);
        }
        let Some(own) = self.own.iter().find(|own| own.name == name) else {
            let known = self.own.iter().map(|own| own.name).chain(self.declared.iter().map(|(known, _)| known.as_str()));
            let known = known.collect::<Vec<_>>().join(", ");
            return Err(format!("there is no {name}; known here: {known}; others are declared under `points`"));
        };
        let Own { quantity, stale_after, words, .. } = *own;
        own.point
            .map(|point| Input { point, quantity, stale_after })
            .ok_or_else(|| format!("{} has no {words}; say with `furnaces` which furnaces the rule is for", self.furnace))
    }
}

/// What is wrong, and with which node of the parsed text.
struct Wrong {
    node: u64,
    words: String,
}

/// Turns the text of a rule into the core's form; errors show the place.
fn compile(text: &str, names: &Names<'_>) -> Result<Expression, String> {
    if text.len() > LONGEST {
        return Err(format!("is {} characters long; {LONGEST} are the most, so make two rules of it", text.len()));
    }
    if let Some(at) = text.find(|letter: char| !letter.is_ascii_graphic() && letter != ' ') {
        return Err(shown(text, at, "has a character that is none of the plain ASCII ones"));
    }
    let parsed = Parser::new().max_recursion_depth(DEEPEST).parse_with_source_info(text);
    let (parsed, info) = parsed.map_err(|errors| {
        let first = errors.errors.first();
        let at = first.map_or(0, |error| usize::try_from(error.pos.1).unwrap_or(0).saturating_sub(1));
        shown(
            text,
            at,
            if text.get(at..).is_none_or(|rest| rest.trim().is_empty()) {
                "ends before its meaning does"
            } else {
                "is not understood here"
            },
        )
    })?;
    let whole = parsed.id;
    let expression =
        lower(&parsed, names).and_then(|draft| draft.finish().map_err(|misfit| Wrong { node: whole, words: misfit.to_string() }));
    expression.map_err(|Wrong { node, words }| shown(text, info.offset_for(node).map_or(0, |(start, _)| start as usize), &words))
}

fn lower(parsed: &Parsed, names: &Names<'_>) -> Result<Draft, Wrong> {
    let wrong = |words: String| Wrong { node: parsed.id, words };
    match &parsed.expr {
        Expr::Literal(literal) => literal_value(literal).map_err(wrong),
        Expr::Ident(name) => names.find(name).map(Draft::input).map_err(wrong),
        Expr::Call(CallExpr { func_name, target: None, args }) => {
            let operator = operator(func_name).ok_or_else(|| wrong(unknown(func_name)))?;
            let parts: Vec<Draft> = args.iter().map(|part| lower(part, names)).collect::<Result<_, _>>()?;
            Draft::apply(operator, parts).map_err(|misfit| wrong(misfit.to_string()))
        }
        Expr::Call(call) => Err(wrong(unknown(&call.func_name))),
        _ => Err(wrong("is more than a rule can be: names, numbers, true and false, and operators".to_owned())),
    }
}

fn literal_value(literal: &LiteralValue) -> Result<Draft, String> {
    let number = |number: f64| Draft::number(number).map_err(|misfit| misfit.to_string());
    match literal {
        LiteralValue::Boolean(is) => Ok(Draft::flag(*is.inner())),
        LiteralValue::Double(is) => number(*is.inner()),
        LiteralValue::Int(is) => number(*is.inner() as f64),
        LiteralValue::UInt(is) => number(*is.inner() as f64),
        LiteralValue::String(_) | LiteralValue::Bytes(_) | LiteralValue::Null => {
            Err("is text, but rules know only numbers, true and false; names are written without quotes".to_owned())
        }
    }
}

fn operator(name: &str) -> Option<Operator> {
    Some(match name {
        operators::ADD => Operator::Add,
        operators::SUBSTRACT => Operator::Subtract,
        operators::MULTIPLY => Operator::Multiply,
        operators::DIVIDE => Operator::Divide,
        operators::NEGATE => Operator::Negate,
        operators::LESS => Operator::Less,
        operators::LESS_EQUALS => Operator::LessEqual,
        operators::GREATER => Operator::More,
        operators::GREATER_EQUALS => Operator::MoreEqual,
        operators::EQUALS => Operator::Equal,
        operators::NOT_EQUALS => Operator::Differ,
        operators::LOGICAL_AND => Operator::And,
        operators::LOGICAL_OR => Operator::Or,
        operators::LOGICAL_NOT => Operator::Not,
        operators::CONDITIONAL => Operator::Choose,
        "abs" => Operator::Size,
        "min" => Operator::Least,
        "max" => Operator::Most,
        _ => return None,
    })
}

fn unknown(name: &str) -> String {
    let name = operators::find_operator(name).unwrap_or(name).trim_matches('_');
    format!("uses {name}, which rules do not know; they know + - * / < <= > >= == != && || ! ?: abs(), min(), max()")
}

/// The words with the text below them and a caret under the place.
fn shown(text: &str, at: usize, words: &str) -> String {
    let at = at.min(text.len());
    format!("{words}\n    {text}\n    {}^ column {}", " ".repeat(at), at + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(text: &str) -> Result<Expression, String> {
        let stale_after = Duration::from_secs(5);
        let of = |name, quantity, point, words| Own { name, quantity, point, stale_after, words };
        let own = [
            of("temperature_c", Quantity::Temperature, Some(PointId(0)), "thermometer"),
            of("load_temperature_c", Quantity::Temperature, None, "thermometer at its load"),
            of("set_point_c", Quantity::Temperature, None, "set point that can be read"),
            of("output_share", Quantity::Share, None, "output share that can be read"),
            of("door_open", Quantity::Flag, Some(PointId(1)), "door switch"),
            of("probe_share", Quantity::Share, None, "oxygen probe"),
            of("flow_l_min", Quantity::GasFlow, None, "gas meter that is read by itself"),
            of("room_oxygen_share", Quantity::Share, Some(PointId(2)), "oxygen monitor in its room"),
        ];
        let hood = Input { point: PointId(3), quantity: Quantity::Flag, stale_after };
        let furnace = Name::new("north").expect("a name");
        compile(text, &Names { furnace: &furnace, own, declared: &[("hood_on".to_owned(), hood)] })
    }

    #[test]
    fn what_a_rule_may_be() {
        for text in [
            "temperature_c > 900",
            "!hood_on && temperature_c > 100",
            "hood_on == false || door_open",
            "temperature_c - 20 > 1.5 * 600.0",
            "room_oxygen_share < 0.195 && 1 >= room_oxygen_share",
            "(door_open ? temperature_c : temperature_c + 50) >= -5",
            "abs(temperature_c - max(temperature_c, 20)) > 3u",
        ] {
            said(text).unwrap_or_else(|words| panic!("{text}: {words}"));
        }
    }

    #[test]
    fn what_is_wrong_is_pointed_at() {
        for (text, column, word) in [
            ("temperature_c > 900 && hod_on", 24, "there is no hod_on"),
            ("temperature_c > true", 15, "a temperature and a yes or no"),
            ("temperature_c > hood_on", 15, "yes or no"),
            ("temperature_c > room_oxygen_share", 15, "a temperature against a share"),
            ("temperature_c == 900", 15, "hardly ever"),
            ("room_oxygen_share < 19.5", 19, "0 to 1, with 19.5; 19.5 % is written 0.195"),
            ("20 > room_oxygen_share", 4, "0 to 1, with 20"),
            ("temperature_c + 5", 15, "must say yes or no"),
            ("1 < 2", 3, "reads no point"),
            ("temperature_c > \"900\"", 17, "without quotes"),
            ("temperature_c % 2 > 1", 15, "uses %"),
            ("size(temperature_c) > 1", 5, "uses size"),
            ("hood_on && probe_share < 0.1", 12, "has no oxygen probe"),
            ("temperature_c > ", 17, "ends before its meaning does"),
            ("temperature_c > 9 9", 19, "is not understood here"),
            ("[1, 2].all(x, x > temperature_c)", 11, "more than a rule"),
            ("temperature_c > 9\u{b0}", 18, "plain ASCII"),
            ("temperature_c > 1e999", 17, ""),
        ] {
            let words = said(text).expect_err(text);
            assert!(words.contains(&format!("^ column {column}")) && words.contains(word), "{text}: {words}");
        }
    }

    #[test]
    fn nothing_that_is_typed_takes_long_or_overflows() {
        for text in ["(".repeat(399), "1+".repeat(190) + "1 > temperature_c", "a.".repeat(150) + "b", "x".repeat(401)] {
            assert!(said(&text).is_err(), "{text}");
        }
        assert!(said(&("!".repeat(380) + "hood_on")).is_ok(), "an even number of them is none");
    }
}
