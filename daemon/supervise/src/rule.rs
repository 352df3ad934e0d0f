//! Rules of the shop's own: an expression on points, and what follows when it holds or cannot be evaluated.
//!
//! An expression is built by [`Draft`], which refuses what has no meaning, and evaluated without allocation, in bounded time, on the
//! bits of the readings alone. It trips on everything it cannot know: a reading that is bad, stale or missing anywhere in it, a value
//! of another quantity than declared, a number that is none.

use std::fmt;
use std::time::Duration;

use hearthward_equipment::{Name, PointId, ShopMs};
use serde::{Deserialize, Serialize};

use crate::points::Points;

/// Most rules of one furnace: their states are kept in one word.
pub const MOST_RULES: usize = 32;

/// Most nodes of one expression; a rule that needs more is two rules.
pub const MOST_NODES: usize = 64;

/// Deepest stack of one expression.
const MOST_DEPTH: usize = 16;

/// A rule of the shop's own for one furnace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RulePlan {
    /// Its name.
    pub name: Name,
    /// What it means when it holds, in words: "the hood is off".
    pub text: String,
    /// The expression as it was written, for people.
    pub source: String,
    /// The expression.
    pub when: Expression,
    /// What follows.
    pub effect: RuleEffect,
    /// Whether it needs a reset once it holds no more.
    pub latch: bool,
    /// How long it must hold. What cannot be evaluated does not wait.
    pub after: Duration,
}

/// What follows when a rule holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RuleEffect {
    /// Heat is cut.
    Cut,
    /// No load is started.
    WithholdStart,
    /// People are alarmed.
    Alarm,
    /// People are alarmed and asked what becomes of hot steel.
    Ask,
}

/// What a point measures, as far as a rule can read it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Quantity {
    /// Yes or no.
    Flag,
    /// A temperature in °C.
    Temperature,
    /// A share, 0 to 1.
    Share,
    /// A gas flow in litres a minute at the shown reference conditions.
    GasFlow,
    /// An absolute pressure in kPa.
    Pressure,
    /// A number without a dimension known here.
    Number,
}

/// A point that an expression reads.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Input {
    /// Which.
    pub point: PointId,
    /// What it must give; anything else cannot be evaluated.
    pub quantity: Quantity,
    /// Age at which a reading counts as missing.
    pub stale_after: Duration,
}

/// What can be done with values.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Operator {
    /// The sum of two.
    Add,
    /// The difference of two.
    Subtract,
    /// The product of two, at most one of them with a dimension.
    Multiply,
    /// The quotient of two.
    Divide,
    /// The opposite of one.
    Negate,
    /// The size of one without its sign.
    Size,
    /// The smaller of two.
    Least,
    /// The larger of two.
    Most,
    /// Whether the first is less.
    Less,
    /// Whether the first is not more.
    LessEqual,
    /// Whether the first is more.
    More,
    /// Whether the first is not less.
    MoreEqual,
    /// Whether two are the same; of measured numbers that is never what is meant.
    Equal,
    /// Whether two differ.
    Differ,
    /// Whether both are so.
    And,
    /// Whether either is so.
    Or,
    /// Whether it is not so.
    Not,
    /// The second if the first is so, else the third.
    Choose,
}

/// What kind of value a part of an expression gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Flag,
    /// A number; one without a quantity goes with any.
    Number(Option<Quantity>),
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
enum Step {
    Constant(f64),
    Read(Input),
    Apply(Operator),
}

/// A part of an expression whose types fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Draft {
    steps: Vec<Step>,
    kind: Kind,
    depth: usize,
}

/// Why a part of an expression has no meaning, as a sentence about that part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Misfit(String);

impl fmt::Display for Misfit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A whole expression that says yes or no.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Expression {
    steps: Vec<Step>,
}

impl Draft {
    /// A plain number.
    ///
    /// # Errors
    /// [`Misfit`] if it is not finite.
    pub fn number(number: f64) -> Result<Self, Misfit> {
        if !number.is_finite() {
            return Err(Misfit("is no number that can be compared with".to_owned()));
        }
        Ok(Self { steps: vec![Step::Constant(number)], kind: Kind::Number(None), depth: 1 })
    }

    /// Yes or no.
    #[must_use]
    pub fn flag(is: bool) -> Self {
        Self { steps: vec![Step::Constant(f64::from(u8::from(is)))], kind: Kind::Flag, depth: 1 }
    }

    /// A point's reading.
    #[must_use]
    pub fn input(input: Input) -> Self {
        let kind = match input.quantity {
            Quantity::Flag => Kind::Flag,
            Quantity::Number => Kind::Number(None),
            quantity => Kind::Number(Some(quantity)),
        };
        Self { steps: vec![Step::Read(input)], kind, depth: 1 }
    }

    /// An operator on parts.
    ///
    /// # Errors
    /// [`Misfit`] if there are too many or too few parts, their types do not fit, or the whole becomes too large.
    pub fn apply(operator: Operator, parts: Vec<Self>) -> Result<Self, Misfit> {
        if parts.len() != operator.arity() {
            return Err(Misfit(format!("takes {} values, not {}", operator.arity(), parts.len())));
        }
        let kinds: Vec<Kind> = parts.iter().map(|part| part.kind).collect();
        let kind = operator.kind(&kinds)?;
        if let [one, other] = parts.as_slice() {
            operator.suits(one, other)?;
            operator.suits(other, one)?;
        }
        // The parts before it lie on the stack while a part is evaluated.
        let depth = parts.iter().enumerate().map(|(place, part)| place + part.depth).max().unwrap_or(1);
        let mut steps: Vec<Step> = parts.into_iter().flat_map(|part| part.steps).collect();
        steps.push(Step::Apply(operator));
        if steps.len() > MOST_NODES || depth > MOST_DEPTH {
            return Err(Misfit(format!(
                "makes the rule too large: at most {MOST_NODES} names, numbers and operators; make two rules"
            )));
        }
        Ok(Self { steps, kind, depth })
    }

    /// The whole expression.
    ///
    /// # Errors
    /// [`Misfit`] if it gives a number, or reads no point at all.
    pub fn finish(self) -> Result<Expression, Misfit> {
        if self.kind != Kind::Flag {
            return Err(Misfit("gives a number, but a rule must say yes or no; compare it with something".to_owned()));
        }
        if !self.steps.iter().any(|step| matches!(step, Step::Read(_))) {
            return Err(Misfit("reads no point, so it would always say the same".to_owned()));
        }
        Ok(Expression { steps: self.steps })
    }
}

impl Operator {
    fn arity(self) -> usize {
        match self {
            Self::Negate | Self::Size | Self::Not => 1,
            Self::Choose => 3,
            _ => 2,
        }
    }

    fn kind(self, kinds: &[Kind]) -> Result<Kind, Misfit> {
        use Kind::{Flag, Number};
        match (self, kinds) {
            (Self::Negate | Self::Size, &[Number(quantity)]) => Ok(Number(quantity)),
            // A difference of temperatures is none.
            (Self::Subtract, &[Number(Some(Quantity::Temperature)), Number(Some(Quantity::Temperature))]) => Ok(Number(None)),
            (Self::Add | Self::Subtract | Self::Least | Self::Most, &[Number(one), Number(other)]) => {
                same(one, other).map(Number)
            }
            (Self::Multiply, &[Number(one), Number(other)]) => match (one, other) {
                (Some(one), Some(other)) => Err(Misfit(format!("multiplies {} by {}", one.words(), other.words()))),
                (one, other) => Ok(Number(one.or(other))),
            },
            (Self::Divide, &[Number(one), Number(other)]) => match (one, other) {
                (one, None) => Ok(Number(one)),
                (Some(one), Some(other)) if one == other => Ok(Number(None)),
                (_, Some(other)) => Err(Misfit(format!("divides by {}", other.words()))),
            },
            (Self::Less | Self::LessEqual | Self::More | Self::MoreEqual, &[Number(one), Number(other)]) => {
                same(one, other).map(|_| Flag)
            }
            (Self::Equal | Self::Differ, &[Number(None), Number(None)] | &[Flag, Flag]) => Ok(Flag),
            (Self::Equal | Self::Differ, &[Number(_), Number(_)]) => {
                Err(Misfit("asks whether measured numbers are the same, which they hardly ever are; use < or >".to_owned()))
            }
            (Self::And | Self::Or, &[Flag, Flag]) | (Self::Not, &[Flag]) => Ok(Flag),
            (Self::Choose, &[Flag, Flag, Flag]) => Ok(Flag),
            (Self::Choose, &[Flag, Number(one), Number(other)]) => same(one, other).map(Number),
            _ => Err(Misfit(format!("does not go with {}", list(kinds)))),
        }
    }

    /// Whether a share is compared with a number that it can come to: against 19.5 meant as per cent a rule would always or never hold.
    fn suits(self, share: &Draft, number: &Draft) -> Result<(), Misfit> {
        let compares = matches!(self, Self::Less | Self::LessEqual | Self::More | Self::MoreEqual);
        match (share.kind, number.steps.as_slice()) {
            (Kind::Number(Some(Quantity::Share)), [Step::Constant(number)]) if compares && !(0.0..=1.0).contains(number) => {
                Err(Misfit(format!("compares a share, which is 0 to 1, with {number}; 19.5 % is written 0.195")))
            }
            _ => Ok(()),
        }
    }

    fn work(self, values: &[f64]) -> f64 {
        let flag = |is: bool| f64::from(u8::from(is));
        match (self, values) {
            (Self::Add, &[one, other]) => one + other,
            (Self::Subtract, &[one, other]) => one - other,
            (Self::Multiply, &[one, other]) => one * other,
            (Self::Divide, &[one, other]) => one / other,
            (Self::Negate, &[one]) => -one,
            (Self::Size, &[one]) => one.abs(),
            (Self::Least, &[one, other]) => one.min(other),
            (Self::Most, &[one, other]) => one.max(other),
            (Self::Less, &[one, other]) => flag(one < other),
            (Self::LessEqual, &[one, other]) => flag(one <= other),
            (Self::More, &[one, other]) => flag(one > other),
            (Self::MoreEqual, &[one, other]) => flag(one >= other),
            (Self::Equal, &[one, other]) => flag(one == other),
            (Self::Differ, &[one, other]) => flag(one != other),
            (Self::And, &[one, other]) => flag(one > 0.5 && other > 0.5),
            (Self::Or, &[one, other]) => flag(one > 0.5 || other > 0.5),
            (Self::Not, &[one]) => flag(!(one > 0.5)),
            (Self::Choose, &[so, one, other]) => {
                if so > 0.5 {
                    one
                } else {
                    other
                }
            }
            _ => f64::NAN,
        }
    }
}

impl Quantity {
    /// The quantity in a sentence.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Flag => "a yes or no",
            Self::Temperature => "a temperature",
            Self::Share => "a share",
            Self::GasFlow => "a gas flow",
            Self::Pressure => "a pressure",
            Self::Number => "a plain number",
        }
    }
}

impl Expression {
    /// Whether it holds; nothing if it cannot be evaluated.
    pub(crate) fn holds(&self, points: &Points, now: ShopMs) -> Option<bool> {
        let mut stack = [0.0_f64; MOST_DEPTH];
        let mut top = 0_usize;
        for step in &self.steps {
            let (value, taken) = match step {
                Step::Constant(number) => (*number, 0),
                Step::Read(input) => (points.of_quantity(input, now)?, 0),
                Step::Apply(operator) => {
                    let taken = operator.arity();
                    (operator.work(stack.get(top.checked_sub(taken)?..top)?), taken)
                }
            };
            if !value.is_finite() {
                return None;
            }
            top -= taken;
            *stack.get_mut(top)? = value;
            top += 1;
        }
        (top == 1).then_some(stack[0] > 0.5)
    }

    /// The points that it reads.
    pub fn inputs(&self) -> impl Iterator<Item = &Input> + '_ {
        self.steps.iter().filter_map(|step| if let Step::Read(input) = step { Some(input) } else { None })
    }
}

/// The quantity of two numbers that are set against each other; a plain number takes that of the other.
fn same(one: Option<Quantity>, other: Option<Quantity>) -> Result<Option<Quantity>, Misfit> {
    match (one, other) {
        (Some(one), Some(other)) if one != other => Err(Misfit(format!("sets {} against {}", one.words(), other.words()))),
        (one, other) => Ok(one.or(other)),
    }
}

fn list(kinds: &[Kind]) -> String {
    let words = kinds.iter().map(|kind| match kind {
        Kind::Flag => Quantity::Flag.words(),
        Kind::Number(quantity) => quantity.unwrap_or(Quantity::Number).words(),
    });
    words.collect::<Vec<_>>().join(" and ")
}

/// How a rule stands.
///
/// ```text
/// clear ──holds for its time, or cannot be evaluated──▶ stands ──holds no more──▶ clear, or latched where it latches
///                                                                  latched ──reset of its row──▶ clear
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct RuleState {
    pub(crate) cause: bool,
    pub(crate) latched: bool,
    /// It could not be evaluated.
    pub(crate) failed: bool,
    /// For how long it has held.
    held_s: Option<f64>,
}

impl RuleState {
    /// Takes what the expression gave in this tick. Says whether it stands or stood otherwise before.
    pub(crate) fn step(&mut self, rule: &RulePlan, holds: Option<bool>, dt_s: f64, may_latch: bool) -> bool {
        let before = (self.stands(), self.latched);
        self.failed = holds.is_none();
        self.held_s = (holds == Some(true)).then(|| self.held_s.map_or(0.0, |held_s| held_s + dt_s));
        self.cause = self.failed || self.held_s.is_some_and(|held_s| held_s >= rule.after.as_secs_f64());
        self.latched |= self.cause && rule.latch && may_latch;
        before != (self.stands(), self.latched)
    }

    /// Whether it stands or is latched.
    pub(crate) fn stands(&self) -> bool {
        self.cause || self.latched
    }
}

/// What the rules of one furnace come to in a tick.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct RulesNow {
    /// Which stand or are latched, by their place.
    pub(crate) standing: u32,
    /// Which of them could not be evaluated.
    pub(crate) failed: u32,
    /// One that cuts has its cause; one of those latches.
    pub(crate) cuts: bool,
    pub(crate) cuts_latched: bool,
    /// One that leaves heat alone has its cause; one of those latches.
    pub(crate) warns: bool,
    pub(crate) warns_latched: bool,
    /// One that asks stands.
    pub(crate) asks: bool,
}

impl RulesNow {
    /// Adds the rule at a place.
    pub(crate) fn add(&mut self, place: usize, rule: &RulePlan, state: &RuleState) {
        if !state.stands() {
            return;
        }
        let bit = 1_u32 << (place % MOST_RULES);
        self.standing |= bit;
        self.failed |= if state.failed { bit } else { 0 };
        match rule.effect {
            RuleEffect::Cut => {
                self.cuts |= state.cause;
                self.cuts_latched |= state.latched;
            }
            RuleEffect::WithholdStart | RuleEffect::Alarm | RuleEffect::Ask => {
                self.warns |= state.cause;
                self.warns_latched |= state.latched;
                self.asks |= rule.effect == RuleEffect::Ask;
            }
        }
    }

    /// Whether the rule at a place stands.
    pub(crate) fn has(&self, place: usize) -> bool {
        self.standing & (1_u32 << (place % MOST_RULES)) != 0
    }

    /// Whether the rule at a place could not be evaluated.
    pub(crate) fn has_failed(&self, place: usize) -> bool {
        self.failed & (1_u32 << (place % MOST_RULES)) != 0
    }
}
