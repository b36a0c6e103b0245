use std::io::{IsTerminal, Write};
use std::process::ExitCode;

use super::acts::client;
use super::args;
use super::args::Place;
use super::layout::{self, Size};
use super::show;
use crate::bench::{Cue, View, emergency_card};
use crate::web::{Event, SILENT_AFTER};

/// Cursor home; each line is cleared to its end as it is written, so that nothing flickers.
const HOME: &str = "\x1b[H";
const CLEAR: &str = "\x1b[2J";
const CLEAR_LINE: &str = "\x1b[K";
const CLEAR_BELOW: &str = "\x1b[J";
const BELL: &str = "\x07";
const WIDTH: usize = 100;

pub async fn run(at: Place, args: args::Watch) -> anyhow::Result<ExitCode> {
    if args.json || args.once {
        let view: View = client(&at).get("/view").await?;
        let mut out = std::io::stdout();
        if args.json {
            writeln!(out, "{}", serde_json::to_string_pretty(&view)?)?;
        } else {
            let size = Size { height: None, ..size() };
            writeln!(out, "{}", layout::lines(&view, None, size).join("\n"))?;
        }
        return Ok(ExitCode::SUCCESS);
    }
    let mut screen = Screen::default();
    let mut lost = Ok(());
    let ended = client(&at)
        .live(|event| {
            lost = match event {
                Event::View(view) => screen.view(&view),
                Event::Cue(cue) => screen.cue(&cue),
                Event::Silent => screen.blank(&silent()),
                Event::Beat => screen.awake(),
            };
            lost.is_ok()
        })
        .await;
    lost?;
    // the numbers on the screen are of no moment any more
    if !screen.last_line.is_empty() {
        screen.blank("the daemon is gone.")?;
    }
    ended?;
    anyhow::bail!("the daemon is gone; nothing is watched")
}

fn silent() -> String {
    format!("the daemon has not been heard for {:.1} s.", SILENT_AFTER.as_secs_f64())
}

/// Cells of this terminal; the last line stays free for the cursor.
fn size() -> Size {
    match rustix::termios::tcgetwinsize(std::io::stdout()) {
        Ok(size) if size.ws_col > 0 => Size {
            width: usize::from(size.ws_col).max(40),
            height: (size.ws_row > 1).then(|| usize::from(size.ws_row) - 1),
        },
        _ => Size { width: WIDTH, height: None },
    }
}

/// A terminal that shows the newest view; a pipe gets a line for each new sentence instead.
pub struct Screen {
    terminal: bool,
    last_cue: Option<String>,
    last_line: String,
    /// The newest view, and why it is not to be believed.
    view: View,
    blanked: Option<String>,
}

impl Default for Screen {
    /// As the standard output is: a terminal, or a pipe.
    fn default() -> Screen {
        let terminal = std::io::stdout().is_terminal();
        let (last_cue, last_line, blanked) = (None, String::new(), None);
        Screen { terminal, last_cue, last_line, view: View::default(), blanked }
    }
}

impl Screen {
    pub fn view(&mut self, view: &View) -> std::io::Result<()> {
        let alone = view.nobody_hears && !self.view.nobody_hears;
        self.blanked = None;
        self.view = view.clone();
        if !self.terminal {
            return self.line(show::one_line(view));
        }
        if alone {
            self.ring()?;
        }
        self.draw(&layout::lines(view, self.last_cue.as_deref(), size()))
    }

    pub fn cue(&mut self, cue: &Cue) -> std::io::Result<()> {
        let words = match cue {
            Cue::Say { words } => words.clone(),
            Cue::Sound { words, .. } => {
                self.ring()?;
                words.clone()
            }
            Cue::Slow => "Slowly.".to_owned(),
            Cue::Stop => "Stop.".to_owned(),
            Cue::Emergency => emergency_card().lines.join("\n  "),
            Cue::Hush => return Ok(()),
        };
        if !self.terminal {
            let mut out = std::io::stdout().lock();
            writeln!(out, "» {words}")?;
            out.flush()?;
        }
        self.last_cue = Some(words);
        Ok(())
    }

    /// What is shown is not of the moment: the numbers go.
    fn blank(&mut self, why: &str) -> std::io::Result<()> {
        if self.blanked.as_deref() == Some(why) {
            return Ok(());
        }
        self.blanked = Some(why.to_owned());
        if !self.terminal {
            return self.line(format!("NOT WATCHED: {why}"));
        }
        self.ring()?;
        self.draw(&layout::blanked(&self.view, why, size()))
    }

    /// The bench is heard again; the next view fills the screen, and comes within a moment.
    fn awake(&mut self) -> std::io::Result<()> {
        if !self.terminal && self.blanked.take().is_some() {
            return self.line("the daemon is heard again.".to_owned());
        }
        Ok(())
    }

    fn ring(&self) -> std::io::Result<()> {
        if !self.terminal {
            return Ok(());
        }
        let mut out = std::io::stdout().lock();
        write!(out, "{BELL}")?;
        out.flush()
    }

    fn draw(&mut self, lines: &[String]) -> std::io::Result<()> {
        let mut out = std::io::stdout().lock();
        let clear = if self.last_line.is_empty() { CLEAR } else { "" };
        write!(out, "{clear}{HOME}")?;
        for line in lines {
            writeln!(out, "{line}{CLEAR_LINE}")?;
        }
        write!(out, "{CLEAR_BELOW}")?;
        "shown".clone_into(&mut self.last_line);
        out.flush()
    }

    fn line(&mut self, line: String) -> std::io::Result<()> {
        if line == self.last_line {
            return Ok(());
        }
        let mut out = std::io::stdout().lock();
        writeln!(out, "{line}")?;
        self.last_line = line;
        out.flush()
    }
}
