//! The screen of the recorder: from a [`Post`] to characters. From 40 columns and 20 rows on everything has its place; what does not fit in less
//! is cut off at the foot of the middle part.

use super::digits::large;
use super::keys::{KEYS, cap};
use super::look::Look;
use super::pane::{DepthTyped, Line as TypedLine, List, Pane};
use super::post::Post;
use firnbook_core::entry::{Step, Time};
use firnbook_core::logbook::{Standing, TargetStanding, TurnStanding};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;
use unicode_width::UnicodeWidthStr;

/// How long a sentence stays at the foot, ms; a worry longer than a confirmation (common practice, no source).
const SAID_MS: i64 = 6_000;
const ALARM_MS: i64 = 12_000;
/// From this many columns on the two timers stand side by side.
const WIDE: u16 = 72;
/// From this many rows on every key is named at the foot.
const TALL: u16 = 24;
/// A rotation that is due within this time, ms, stands out (common practice, no source).
const SOON_MS: i64 = 30_000;

/// Draws the post as it is now.
pub fn draw(frame: &mut Frame<'_>, post: &Post<'_>, look: Look) {
    let page = Page { look, area: frame.area() };
    match (&post.pane, post.standing()) {
        (Pane::Help, _) => page.put(frame, page.help(), Vec::new(), Vec::new()),
        (_, Some(stands)) => {
            let (head, middle) = (page.head(&stands, post.now()), page.middle(&stands, &post.pane));
            page.put(frame, head, middle, page.foot(post, true));
        }
        (_, None) => {
            let (head, middle) = page.drill_list(post);
            page.put(frame, head, middle, page.foot(post, false));
        }
    }
}

/// A screen of a size.
pub(super) struct Page {
    pub(super) look: Look,
    pub(super) area: Rect,
}

impl Page {
    /// Puts the head at the top, the foot at the bottom, and as much of the middle between them as fits.
    fn put(&self, frame: &mut Frame<'_>, head: Vec<Line<'_>>, middle: Vec<Line<'_>>, foot: Vec<Line<'_>>) {
        let rows = usize::from(self.area.height);
        let foot_rows = foot.len().min(rows);
        let above: Vec<Line<'_>> = head.into_iter().chain(middle).take(rows - foot_rows).collect();
        let part = |from: usize, rows: usize| Rect {
            y: self.area.y + from as u16,
            height: rows as u16,
            ..self.area
        };
        frame.render_widget(Paragraph::new(above), part(0, rows - foot_rows));
        frame.render_widget(Paragraph::new(foot), part(rows - foot_rows, foot_rows));
    }

    fn columns(&self) -> usize {
        usize::from(self.area.width)
    }

    /// A line whose ends stand at the two edges, in a style over the whole width.
    pub(super) fn bar(&self, left: &str, right: &str, style: Style) -> Line<'static> {
        let gap = self.columns().saturating_sub(left.width() + right.width());
        if gap == 0 {
            let text: String = cut(left, self.columns());
            return Line::styled(text, style);
        }
        Line::styled(format!("{left}{}{right}", " ".repeat(gap)), style)
    }

    pub(super) fn wrapped(&self, text: &str, rows: usize) -> Vec<String> {
        let lines =
            textwrap::wrap(text, textwrap::Options::new(self.columns().max(2)).subsequent_indent(" "));
        lines.into_iter().take(rows).map(std::borrow::Cow::into_owned).collect()
    }

    /// The drill, the timers, the target in focus with its steps.
    fn head(&self, stands: &Standing, now: Time) -> Vec<Line<'static>> {
        let team = stands.team.as_ref().map(|t| format!("  {t}")).unwrap_or_default();
        let clock = now.datetime().format("%H:%M:%S");
        let left = format!(" DRILL {}{team}", stands.drill);
        let mut lines = vec![self.bar(&left, &format!("{}  {clock} ", stands.me), self.look.bar_plain())];
        lines.extend(self.timers(stands));
        lines.push(self.targets(stands));
        if let Some(here) = stands.targets.iter().find(|t| t.focus) {
            lines.extend(self.steps(here, 3));
        }
        lines
    }

    fn timers(&self, stands: &Standing) -> Vec<Line<'static>> {
        let rows = if self.area.height >= 18 { 5 } else { 3 };
        let text = stands.since_start_ms.map_or_else(|| "--:--".to_owned(), clock_text);
        let turn = stands.turns.iter().find(|t| t.focus).filter(|_| self.area.width >= WIDE);
        let half = if turn.is_some() { self.area.width / 2 } else { self.area.width };
        let left = large(&text, half.saturating_sub(1), rows);
        let right =
            turn.map(|t| large(&clock_text(t.since_ms), half.saturating_sub(1), rows)).unwrap_or_default();
        let mut lines: Vec<Line<'static>> = (0..left.len().max(right.len()))
            .map(|n| {
                let left = left.get(n).map_or("", String::as_str);
                let pad = usize::from(half).saturating_sub(left.width() + 1);
                let mut spans = vec![Span::styled(format!(" {left}{}", " ".repeat(pad)), self.look.strong())];
                if let (Some(row), Some(turn)) = (right.get(n), turn) {
                    spans.push(Span::styled(row.clone(), self.turn_digits(turn)));
                }
                Line::from(spans)
            })
            .collect();
        let (status, style) = self.status(stands);
        let mut spans = vec![Span::styled(status.clone(), style)];
        if let Some(turn) = turn {
            spans.push(Span::raw(" ".repeat(usize::from(half).saturating_sub(status.width()))));
            spans.push(Span::styled(turn_text(turn), self.turn_style(turn)));
        }
        lines.push(Line::from(spans));
        lines
    }

    fn status(&self, stands: &Standing) -> (String, Style) {
        let limit_ms = stands.limit_s.map(|s| (s * 1000.0) as i64);
        let since_ms = stands.since_start_ms.unwrap_or(0);
        if let Some(why) = stands.ended_why {
            return (format!(" ENDED: {why} "), self.look.bar_plain());
        }
        if stands.ended_at.is_some() {
            return (" ENDED ".to_owned(), self.look.bar_plain());
        }
        if stands.paused {
            return (
                format!(" PAUSED, {} halted so far ", clock_text(stands.paused_ms)),
                self.look.bar_wait(),
            );
        }
        match (stands.started_at, limit_ms) {
            (None, _) => (" not started".to_owned(), Style::new()),
            (_, Some(limit)) if since_ms > limit => {
                (format!(" limit {} passed ", clock_text(limit)), self.look.bar_alarm())
            }
            (_, Some(limit)) => (format!(" since start, limit {}", clock_text(limit)), Style::new()),
            _ => match &stands.started_by {
                Some(by) => (format!(" since the start of {by}"), Style::new()),
                None => (" since start".to_owned(), Style::new()),
            },
        }
    }

    fn targets(&self, stands: &Standing) -> Line<'static> {
        if stands.focus.is_none() {
            return Line::styled(" no targets; + sets one up", self.look.name());
        }
        let mut spans = vec![Span::styled(" TARGET ", self.look.name())];
        for target in &stands.targets {
            let style = if target.focus { self.look.bar_wait() } else { self.look.strong() };
            spans.push(Span::styled(format!(" {} ", target.label), style));
            spans.push(Span::raw(if target.done { "done " } else { " " }));
        }
        if stands.targets.len() > 1 {
            spans.push(Span::styled(" TAB", self.look.name()));
        }
        Line::from(spans)
    }

    /// The steps that were reached, each with its time, in at most `rows` lines.
    fn steps(&self, here: &TargetStanding, rows: usize) -> Vec<Line<'static>> {
        let mut told: Vec<(String, String)> = Vec::new();
        for reached in &here.reached {
            told.push((step_word(reached.step), reached.t_ms.map(clock_text).unwrap_or_default()));
            if reached.step == Step::Strike && !here.depths_cm.is_empty() {
                let depths: Vec<String> = here.depths_cm.iter().map(ToString::to_string).collect();
                told.push((String::new(), format!("{} cm", depths.join(", "))));
            }
        }
        if told.is_empty() {
            return vec![Line::styled(" nothing pressed here yet", self.look.name())];
        }
        let mut lines: Vec<Vec<Span<'static>>> = vec![Vec::new()];
        let mut width = 0;
        for (word, value) in told {
            let words = if word.is_empty() { String::new() } else { format!(" {word} ") };
            let gap = if word.is_empty() { 1 } else { 0 };
            let wide = words.width() + value.width() + gap;
            if width + wide > self.columns() && width > 0 {
                lines.push(Vec::new());
                width = 0;
            }
            width += wide + 1;
            if let Some(line) = lines.last_mut() {
                line.push(Span::styled(format!("{}{words}", " ".repeat(gap)), self.look.name()));
                line.push(Span::styled(format!("{value} "), self.look.strong()));
            }
        }
        // The latest steps matter most.
        let from = lines.len().saturating_sub(rows);
        lines.drain(..from);
        lines.into_iter().map(Line::from).collect()
    }

    fn middle(&self, stands: &Standing, pane: &Pane) -> Vec<Line<'static>> {
        match pane {
            Pane::Overview | Pane::Help => self.overview(stands),
            Pane::Depth(depth) => self.depth(depth),
            Pane::List(list) => self.list(list),
            Pane::Line(line) => self.line(line),
            Pane::Leaving => vec![self.bar(" leave? q again; any other key stays", "", self.look.bar_wait())],
        }
    }

    fn overview(&self, stands: &Standing) -> Vec<Line<'static>> {
        let mut lines = vec![self.next(stands)];
        for turn in stands.turns.iter().filter(|t| !(t.focus && self.area.width >= WIDE)) {
            lines.extend(self.turn(turn));
        }
        let rows = usize::from(self.area.height).saturating_sub(18).clamp(1, 4);
        if !stands.lacks.is_empty() {
            let says: Vec<&str> = stands.lacks.iter().map(|l| l.says.as_str()).collect();
            let text = format!(" LACKS {}", says.join(" · "));
            let told = self.wrapped(&text, rows);
            let more = self.wrapped(&text, usize::MAX).len() > told.len();
            for (n, row) in told.iter().enumerate() {
                let last = more && n + 1 == told.len();
                let row = if last {
                    format!("{} …", cut(row, self.columns().saturating_sub(2)))
                } else {
                    row.clone()
                };
                lines.push(Line::raw(row));
            }
        }
        if let Some(last) = &stands.last {
            let when = match last.undo_left_ms {
                0 => last.at.datetime().format("%H:%M:%S").to_string(),
                left => format!(" u undoes, {} s", (left + 999) / 1000),
            };
            lines.push(Line::from(vec![
                Span::styled(" LAST ", self.look.name()),
                Span::styled(format!("{} ", last.what), self.look.strong()),
                Span::raw(when),
            ]));
        }
        lines
    }

    fn next(&self, stands: &Standing) -> Line<'static> {
        let says = |step: Step| {
            let key = KEYS.iter().find(|k| k.deed == super::keys::Deed::Step(step));
            let key = key.or_else(|| {
                KEYS.iter().find(|k| k.deed == super::keys::Deed::Strike && step == Step::Strike)
            });
            key.map_or_else(|| step_word(step), |k| k.says.to_owned())
        };
        match (stands.next, &stands.next_target) {
            (Some(step), _) => {
                self.bar(&format!(" SPACE  {}: {}", step_word(step), says(step)), "", self.look.bar_next())
            }
            (None, Some(target)) => {
                self.bar(&format!(" TAB  go on with target {target}"), "", self.look.bar_next())
            }
            (None, None) => self.bar(" ended; b: list of drills, q: leave", "", self.look.bar_next()),
        }
    }

    /// A turn with large digits and who digs beside them.
    fn turn(&self, turn: &TurnStanding) -> Vec<Line<'static>> {
        let digits = large(&clock_text(turn.since_ms), self.area.width / 2, 3);
        let place = if turn.target.is_empty() { String::new() } else { format!(" at {}", turn.target) };
        let beside = [
            format!("{}{place}", turn.front.as_deref().unwrap_or("someone")),
            "at the head".to_owned(),
            due_text(turn),
        ];
        let styles = [self.look.strong(), Style::new(), self.turn_style(turn)];
        let beside = beside.into_iter().zip(styles);
        (digits.into_iter().chain(std::iter::repeat(String::new())))
            .zip(beside)
            .map(|(digits, (text, style))| {
                let pad = (self.columns() / 2).saturating_sub(digits.width() + 1);
                Line::from(vec![
                    Span::styled(format!(" {digits}{}", " ".repeat(pad)), self.turn_digits(turn)),
                    Span::styled(text, style),
                ])
            })
            .collect()
    }

    fn turn_style(&self, turn: &TurnStanding) -> Style {
        match turn.due_in_ms {
            ..=0 => self.look.bar_alarm(),
            due if due <= SOON_MS => self.look.bar_wait(),
            _ => Style::new(),
        }
    }

    /// Digits can't be reversed, they would not be digits any more.
    fn turn_digits(&self, turn: &TurnStanding) -> Style {
        let strong = self.look.strong();
        if self.look.colour && turn.due_in_ms <= 0 { strong.fg(ratatui::style::Color::Red) } else { strong }
    }

    fn depth(&self, depth: &DepthTyped) -> Vec<Line<'static>> {
        let target = if depth.target.is_empty() { String::new() } else { format!(" of {}", depth.target) };
        let (what, tab) = match depth.strike {
            Some(_) => (format!(" depth of the strike{target}"), "TAB: a measurement of its own"),
            None => (format!(" depth{target} by {}", depth.method), "TAB: probe, tape or reading"),
        };
        let mut lines = vec![self.bar(&what, "cm ", self.look.bar_next())];
        let digits = if depth.digits.is_empty() { "---".to_owned() } else { depth.digits.clone() };
        lines.extend(
            large(&digits, self.area.width.saturating_sub(2), 3)
                .into_iter()
                .map(|row| Line::styled(format!("  {row}"), self.look.strong())),
        );
        lines.push(Line::raw(" ENTER takes it, ESC drops it"));
        lines.push(Line::raw(format!(" {tab}")));
        lines
    }

    pub(super) fn list(&self, list: &List) -> Vec<Line<'static>> {
        let mut lines = vec![self.bar(&format!(" {}", list.title), "", self.look.bar_next())];
        let half = list.options.len().div_ceil(2);
        let width = self.columns() / 2;
        let option = |n: usize| {
            list.options.get(n).map_or_else(String::new, |o| cut(&format!(" {} {o}", (n + 1) % 10), width))
        };
        for n in 0..half {
            let left = option(n);
            let gap = width.saturating_sub(left.width());
            lines.push(Line::styled(
                format!("{left}{}{}", " ".repeat(gap), option(n + half)),
                self.look.strong(),
            ));
        }
        lines.push(Line::raw(" a digit chooses, ESC leaves it open"));
        lines
    }

    pub(super) fn line(&self, line: &TypedLine) -> Vec<Line<'static>> {
        let mut lines: Vec<Line<'static>> = self
            .wrapped(&format!(" {}", line.title), 2)
            .iter()
            .map(|row| self.bar(row, "", self.look.bar_next()))
            .collect();
        let shown = tail(&line.typed, self.columns().saturating_sub(4));
        lines.push(Line::styled(format!(" > {shown}_"), self.look.strong()));
        lines.extend(self.wrapped(&format!(" {}", line.hint), 3).into_iter().map(Line::raw));
        lines
    }

    /// What was said, and the keys.
    fn foot(&self, post: &Post<'_>, at_drill: bool) -> Vec<Line<'static>> {
        let mut lines = Vec::new();
        if let Some(message) = &post.message {
            let (stays, style) =
                if message.alarm { (ALARM_MS, self.look.bar_alarm()) } else { (SAID_MS, self.look.strong()) };
            if (0..stays).contains(&(post.now().millis() - message.said_ms)) {
                let rows = self.wrapped(&format!(" {}", message.text), 4);
                lines.extend(rows.into_iter().map(|row| Line::styled(row, style)));
            }
        }
        let all = at_drill && self.area.height >= TALL && self.area.width >= WIDE;
        let keys = match (at_drill, all) {
            (false, _) => " digit opens  + new  = again  q leave  ?".to_owned(),
            (true, true) => {
                let keys: Vec<String> = KEYS
                    .iter()
                    .map(|k| format!("{}\u{a0}{}", cap(k.key), k.word.replace(' ', "\u{a0}")))
                    .collect();
                format!(" {}  1-9\u{a0}depth", keys.join("  "))
            }
            (true, false) => " ? keys  1-9 depth  u undo  q leave".to_owned(),
        };
        let keys = self.wrapped(&keys, 4).into_iter().map(|row| row.replace('\u{a0}', " "));
        lines.extend(keys.map(|row| Line::styled(row, self.look.name())));
        lines
    }

    fn help(&self) -> Vec<Line<'static>> {
        let mut lines = vec![self.bar(" KEYS", "any key goes back ", self.look.bar_plain())];
        let half = KEYS.len().div_ceil(2);
        let width = self.columns() / 2;
        let told = |n: usize| {
            KEYS.get(n).map_or_else(String::new, |k| {
                let says = if self.area.width >= WIDE { k.says } else { k.word };
                cut(&format!(" {:5} {says}", cap(k.key)), width)
            })
        };
        for n in 0..half {
            let left = told(n);
            let gap = width.saturating_sub(left.width());
            lines.push(Line::raw(format!("{left}{}{}", " ".repeat(gap), told(n + half))));
        }
        let more = "Digits and ENTER: the depth of the target in focus, in cm. A digit also chooses from a list. Steps may be pressed at any time and in any order.";
        lines.extend(self.wrapped(&format!(" {more}"), 5).into_iter().map(Line::raw));
        lines
    }
}

/// "3:05", from an hour on "1:03:05"; before the start with a minus.
#[must_use]
pub fn clock_text(ms: i64) -> String {
    let s = ms.abs() / 1000;
    let sign = if ms <= -1000 { "-" } else { "" };
    match s / 3600 {
        0 => format!("{sign}{}:{:02}", s / 60, s % 60),
        h => format!("{sign}{h}:{:02}:{:02}", s / 60 % 60, s % 60),
    }
}

fn step_word(step: Step) -> String {
    step.word().replace('_', " ")
}

fn due_text(turn: &TurnStanding) -> String {
    match turn.due_in_ms {
        ..=0 => format!(" CHANGE, {} over ", clock_text(-turn.due_in_ms)),
        due => format!("change in {}", clock_text(due + 999)),
    }
}

fn turn_text(turn: &TurnStanding) -> String {
    format!("{} at the head, {}", turn.front.as_deref().unwrap_or("someone"), due_text(turn).trim())
}

/// The beginning of a text, at most `width` columns.
pub(super) fn cut(text: &str, width: usize) -> String {
    let mut kept = String::new();
    for c in text.chars() {
        kept.push(c);
        if kept.width() > width {
            kept.pop();
            break;
        }
    }
    kept
}

/// The end of a text, at most `width` columns.
fn tail(text: &str, width: usize) -> String {
    let mut from = 0;
    while text[from..].width() > width {
        from += text[from..].chars().next().map_or(1, char::len_utf8);
    }
    text[from..].to_owned()
}
