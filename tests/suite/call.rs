//! A call played through the program's own pipes: reads what is asked, answers by what it reads, hangs up or is cut
//! off at any prompt.

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use crate::tool::Tool;

/// What to answer: the first phrase that stands in a question decides.
pub(crate) type Answers = [(&'static str, &'static str)];

/// Wide enough that a hint takes one line.
const COLUMNS: &str = "400";
/// No call takes longer.
const MOST: usize = 80;

/// A walk in progress.
pub(crate) struct Call {
    child: Child,
    stdin: ChildStdin,
    out: BufReader<ChildStdout>,
    /// Everything read so far.
    pub(crate) said: String,
}

impl Call {
    /// Starts the program.
    pub(crate) fn start(tool: &Tool, args: &[&str]) -> Self {
        let ready = tool.command();
        let mut command = Command::new(ready.get_program());
        command.env_clear().args(args).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::inherit());
        command.envs(ready.get_envs().filter_map(|(name, value)| Some((name, value?))));
        let mut child = command.env("COLUMNS", COLUMNS).spawn().unwrap();
        let (stdin, out) = (child.stdin.take().unwrap(), BufReader::new(child.stdout.take().unwrap()));
        Self { child, stdin, out, said: String::new() }
    }

    /// Reads on to the next question, which ends with a hint; none once the program has ended.
    pub(crate) fn asked(&mut self) -> Option<String> {
        let mut question = String::new();
        loop {
            let mut line = String::new();
            if self.out.read_line(&mut line).unwrap() == 0 {
                self.said.push_str(&question);
                return None;
            }
            question.push_str(&line);
            if line.starts_with("> ") {
                self.said.push_str(&question);
                return Some(question);
            }
        }
    }

    /// Types a line.
    pub(crate) fn answer(&mut self, text: &str) {
        writeln!(self.stdin, "{text}").unwrap();
    }

    /// Types part of a line and does not end it.
    pub(crate) fn half(&mut self, text: &str) {
        write!(self.stdin, "{text}").unwrap();
        self.stdin.flush().unwrap();
    }

    /// Answers so many questions, all of them when none is given; how many were answered, and whether that was all.
    pub(crate) fn play(&mut self, answers: &Answers, most: Option<usize>) -> (usize, bool) {
        for done in 0..MOST {
            let Some(question) = self.asked() else { return (done, true) };
            if question.contains("writes the customer's report") {
                return (done, true);
            }
            if most == Some(done) {
                return (done, false);
            }
            let known = answers.iter().find(|(phrase, _)| question.contains(phrase));
            let (_, answer) =
                known.unwrap_or_else(|| panic!("no answer to:\n{question}\nafter:\n{}", self.said));
            self.answer(answer);
        }
        panic!("the call does not end:\n{}", self.said)
    }

    /// Cuts the program off at once, as a dead battery would.
    pub(crate) fn cut(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Hangs up, and gives what else was said.
    pub(crate) fn hang_up(mut self) -> String {
        drop(self.stdin);
        while self.out.read_line(&mut self.said).unwrap() > 0 {}
        assert!(self.child.wait().unwrap().success(), "{}", self.said);
        self.said
    }
}
