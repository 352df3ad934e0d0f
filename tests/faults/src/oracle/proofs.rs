//! Tests of interlocks: one passes only if its row tripped and its cause went after a person began it, and what is shown is what came of
//! the last one.

use hearthward_equipment::{Evidence, FurnaceId};
use hearthward_supervise::event::{Event, EventBody};
use hearthward_supervise::request::{Answer, Request};
use hearthward_supervise::view::InterlockState;

use super::{Found, Moment, Oracle, must};

impl Oracle {
    /// Tests that a person began in this tick. Every request that was made since the last tick is answered in it, in order.
    pub(super) fn begin_proofs(&mut self, moment: &Moment<'_>) -> Found {
        let answered = moment.out.answers.len();
        must(answered == self.asked.len(), || format!("{} requests, {answered} answers", self.asked.len()))?;
        for (ask, (_, answer)) in self.asked.iter().zip(&moment.out.answers) {
            if let (Request::Prove { furnace, interlock, .. }, Answer::Done(_)) = (ask, answer) {
                let known = &mut self.known[furnace.index()];
                must(known.proof.is_none(), || format!("a test of {interlock:?} began beside another"))?;
                known.proof = Some((*interlock, false));
            }
        }
        Ok(())
    }

    /// Takes what is told of a test into the books.
    pub(super) fn note_proof(&mut self, event: &Event, moment: &Moment<'_>) -> Found {
        let place = event.furnace.map(FurnaceId::index).ok_or("a test without a furnace")?;
        let known = &mut self.known[place];
        match &event.body {
            EventBody::Proved { interlock, passed, evidence: Evidence::Confirmed, .. } => {
                let told = self.asked.iter().any(|ask| match ask {
                    Request::Attest { furnace, interlock: kind, passed: saw, .. } => {
                        furnace.index() == place && kind == interlock && saw == passed
                    }
                    _ => false,
                });
                must(told && event.person.is_some(), || format!("nobody told of a test of {interlock:?}"))?;
                known.outcomes.insert(*interlock, (*passed, Evidence::Confirmed));
            }
            EventBody::Proved { interlock, passed, evidence, untested } => {
                let (kind, tripped) = known.proof.take().ok_or("a test ended that nobody began")?;
                must(kind == *interlock, || format!("a test of {kind:?} ended as one of {interlock:?}"))?;
                must(!passed || tripped, || format!("{kind:?} passed its test and never tripped"))?;
                let row = moment.view.furnaces[place].interlocks.iter().find(|row| row.kind == kind);
                must(!passed || row.is_none_or(|row| row.state != InterlockState::Tripped), || {
                    format!("{kind:?} passed its test and its cause stands")
                })?;
                must(!untested || !passed, || format!("{kind:?} passed a test in which nothing tripped"))?;
                match untested {
                    true => known.outcomes.remove(&kind),
                    false => known.outcomes.insert(kind, (*passed, *evidence)),
                };
            }
            EventBody::ProofVoid { interlock } => {
                let begun = known.proof.take().is_some_and(|(kind, _)| kind == *interlock);
                must(begun, || format!("a test of {interlock:?} was called off that nobody began"))?;
            }
            _ => {}
        }
        Ok(())
    }

    /// A test that runs sees its row stand; none outlives the service that watched it; what is shown is what was told.
    pub(super) fn check_proofs(&mut self, moment: &Moment<'_>) -> Found {
        for (place, (known, seen)) in self.known.iter_mut().zip(&moment.view.furnaces).enumerate() {
            let name = &self.plan.furnaces[place].name;
            let standing = known.standing;
            if let Some((kind, tripped)) = &mut known.proof {
                *tripped |= standing.has(*kind);
            }
            must(!self.first || known.proof.is_none(), || format!("a test of {name} outlived the service that watched it"))?;
            for row in &seen.interlocks {
                let shown = row.proof.map(|proof| (proof.passed, proof.evidence));
                let told = known.outcomes.get(&row.kind).copied();
                must(shown == told, || {
                    format!("invariant 7: a test of {:?} of {name} is shown {shown:?}, told {told:?}", row.kind)
                })?;
            }
        }
        Ok(())
    }
}
