//! Goal: whatever was said to be durable survives a process that is killed, with the inputs that led to it, and numbers go on
//! without a gap.
//! Method: this test binary starts itself as a writer, and kills it with no warning.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::mpsc;

use hearthward_equipment::Tick;
use hearthward_journal::{Journal, Reader};

use crate::common::{Ear, Home, Said, options, read_all, send};
use crate::inputs::{assert_same, given};

const CHILD: &str = "HEARTHWARD_JOURNAL_TEST_CHILD";

/// The writer: writes until it is killed, and prints each number once it is durable.
#[test]
fn child() {
    let Some(path) = std::env::var_os(CHILD) else { return };
    let (journal, _) = Journal::open(Path::new(&path), options()).expect("opens");
    let (ear, said) = mpsc::channel();
    let recorder = journal.record(Ear(ear)).expect("a thread");
    std::thread::spawn(move || {
        for tick in 1.. {
            send(&recorder, given(tick, u32::try_from(tick % 5).expect("small")));
        }
    });
    for what in said {
        if let Said::Durable { seqs, .. } = what
            && let Some(last) = seqs.last()
        {
            println!("durable {last}");
        }
    }
}

#[test]
fn a_killed_writer_leaves_all_that_was_durable_and_no_gap() {
    let home = Home::new();
    let mut before = 0;
    let mut id = None;
    for round in 1..=4 {
        let mut child = Command::new(std::env::current_exe().expect("this binary"))
            .args(["--exact", "killed::child", "--nocapture"])
            .env(CHILD, home.path())
            .stdout(Stdio::piped())
            .spawn()
            .expect("starts");
        let mut last = 0;
        let mut seen = 0;
        for line in BufReader::new(child.stdout.take().expect("a pipe")).lines() {
            let Some(number) = line.expect("text").strip_prefix("durable ").map(str::to_owned) else { continue };
            last = number.parse().expect("a number");
            seen += 1;
            if seen == 20 * round {
                child.kill().expect("killed");
            }
        }
        child.wait().expect("gone");
        assert!(last > before, "round {round} wrote nothing");

        let running = home.start();
        assert!(running.opened.last_seq >= last, "{} is on disk, {last} was said to be", running.opened.last_seq);
        assert!(!running.opened.clean_stop);
        // What a kill leaves of a log is no damage.
        assert_eq!(id.get_or_insert_with(|| running.opened.journal_id.clone()), &running.opened.journal_id);
        let all = read_all(&running.reader);
        assert!(all.iter().map(|event| event.seq).eq(1..=running.opened.last_seq), "a gap");
        assert_eq!(running.reader.verify().expect("the chain holds"), running.opened.last_seq);
        // The inputs reach as far as the events, without a gap, and are those that were given.
        let past: Vec<_> = running.reader.past(running.opened.boot - 1, Tick(0)).collect::<Result<_, _>>().expect("readable");
        assert_same(&past, 1);
        let said = all.last().map(|event| event.tick);
        assert!(past.last().map(|tick| tick.tick) >= said, "inputs are missing to an event");
        before = running.opened.last_seq;
        running.finish();
    }
    assert_eq!(Reader::open(&home.path()).expect("opens").last_seq(), before);
}
