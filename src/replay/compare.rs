use serde::Serialize;

use super::player::Step;
use super::tape::Broken;
use crate::bench::Numbered;
use crate::quantity::Moment;

/// Whether the same facts came out.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    Same {
        facts: u64,
    },
    /// The first that is another; `None` where nothing came, or nothing was recorded.
    Differs {
        same: u64,
        recorded: Option<Box<Numbered>>,
        replayed: Option<Box<Numbered>>,
    },
    /// The beginning of the tape is not kept: nobody knows what the bench had seen when the rest
    /// begins, and its rules look back.
    Dropped {
        from: Moment,
        to: Moment,
    },
    /// The tape could not be played to the end.
    Stopped {
        same: u64,
        why: String,
    },
}

/// Plays until every fact up to `up_to` (all, if `None`) has come out again, or the first is
/// another. `show` sees each step as it is played.
///
/// # Errors
/// What `show` refuses.
pub fn compare<E>(
    mut step: impl FnMut() -> Result<Option<Step>, Broken>,
    recorded: &[Numbered],
    up_to: Option<u64>,
    mut show: impl FnMut(&Step) -> Result<(), E>,
) -> Result<Verdict, E> {
    let wanted = |fact: &Numbered| up_to.is_none_or(|up_to| fact.number <= up_to);
    let mut due = recorded.iter().filter(|fact| wanted(fact)).peekable();
    let mut same = 0;
    loop {
        if up_to.is_some() && due.peek().is_none() {
            return Ok(Verdict::Same { facts: same });
        }
        let played = match step() {
            Ok(Some(played)) => played,
            Ok(None) => {
                return Ok(match due.next() {
                    None => Verdict::Same { facts: same },
                    Some(left) => Verdict::Differs {
                        same,
                        recorded: Some(Box::new(left.clone())),
                        replayed: None,
                    },
                });
            }
            Err(Broken(why)) => return Ok(Verdict::Stopped { same, why }),
        };
        show(&played)?;
        for fact in played.facts.into_iter().filter(|fact| wanted(fact)) {
            match due.next() {
                Some(left) if *left == fact => same += 1,
                left => {
                    return Ok(Verdict::Differs {
                        same,
                        recorded: left.cloned().map(Box::new),
                        replayed: Some(Box::new(fact)),
                    });
                }
            }
        }
    }
}
