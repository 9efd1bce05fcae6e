//! Reads a trace from a stream.

use std::io::{self, Cursor, Read};

use calc::trace::Trace;

use super::cell::{Cell, Numbers};
use super::columns::{self, Plan, TimeKind};
use super::reduce::{KEPT_SAMPLES, Kept, Reducer};
use super::rows::{Rows, Step};
use super::units::Linear;
use super::{Quantity, Remark, TraceFault, Wanted, clock, decode, sniff};

/// First bytes in which the header is looked for.
const HEAD_BYTES: u64 = 64 << 10;
/// Faults that are listed of one trace.
const LISTED_FAULTS: usize = 20;
/// Share of samples, and number, whose time may step back without making the times doubtful.
const BACK_SHARE: u64 = 50;
const BACK_SAMPLES: u64 = 3;
const SECONDS_PER_DAY: f64 = 86_400.0;

/// Reads a trace. The stream is read to its end if nothing is wrong.
///
/// # Errors
/// What is wrong, at most some 20 faults; see the module's description for what is refused.
pub fn read_trace<'r>(
    reader: impl Read + 'r,
    wanted: &Wanted,
) -> Result<(Trace, Vec<Remark>), Vec<TraceFault>> {
    let unreadable = |error: io::Error| {
        vec![TraceFault::new(None, "", format!("the file could not be read: {error}"), "is the disk well?")]
    };
    let mut stream = decode::open(reader).map_err(unreadable)?;
    let mut head = Vec::new();
    stream.by_ref().take(HEAD_BYTES).read_to_end(&mut head).map_err(unreadable)?;
    let layout = sniff::layout(&head, wanted).map_err(|fault| vec![fault])?;
    let (plan, remarks) = columns::choose(&layout.headings, layout.header_line, wanted)?;
    let mut rows = Rows::new(Cursor::new(head).chain(stream), layout.separator);
    let mut samples = Samples::new(plan, &layout, remarks);
    let mut passed = 0;
    loop {
        match rows.advance().map_err(unreadable)? {
            Step::Row if passed < layout.rows_before_samples => passed += 1,
            Step::Row => samples.row(&rows),
            Step::TooLong => {
                let hint = "is a quotation mark left open, or is this no table?";
                samples.faults.push(TraceFault::new(Some(rows.line()), "", "a row of endless length", hint));
                break;
            }
            Step::End => break,
        }
        if samples.faults.len() >= LISTED_FAULTS {
            let hint = "mend these first";
            samples.faults.push(TraceFault::new(
                Some(rows.line()),
                "",
                "reading stopped after so many faults",
                hint,
            ));
            break;
        }
    }
    samples.finish(wanted.needed)
}

/// Gathers samples row by row.
struct Samples {
    plan: Plan,
    width: usize,
    numbers: Numbers,
    /// Time stamps are read apart: a date's dots say nothing about the decimal mark.
    time_numbers: Numbers,
    clock: Option<ClockRun>,
    origin: Option<f64>,
    /// Values of the newest time stamp: sums and counts, since several samples may share it.
    newest: Option<f64>,
    sums: Vec<f64>,
    counts: Vec<u32>,
    reducer: Reducer,
    tally: Tally,
    missing: Vec<u64>,
    present: Vec<u64>,
    remarks: Vec<Remark>,
    faults: Vec<TraceFault>,
}

/// What happened on the way, and the first line where it did.
#[derive(Clone, Copy, Debug, Default)]
struct Tally {
    samples: u64,
    same_time: (u64, u64),
    back: (u64, u64),
    no_time: (u64, u64),
}

fn count(tally: &mut (u64, u64), line: u64) {
    if tally.0 == 0 {
        tally.1 = line;
    }
    tally.0 += 1;
}

impl Samples {
    fn new(plan: Plan, layout: &sniff::Layout, remarks: Vec<Remark>) -> Self {
        let columns = plan.values.len();
        Self {
            width: layout.headings.len(),
            numbers: Numbers::new(layout.separator),
            time_numbers: Numbers::new(layout.separator),
            clock: None,
            origin: None,
            newest: None,
            sums: vec![0.0; columns],
            counts: vec![0; columns],
            reducer: Reducer::new(columns, KEPT_SAMPLES),
            tally: Tally::default(),
            missing: vec![0; columns],
            present: vec![0; columns],
            remarks,
            faults: Vec::new(),
            plan,
        }
    }

    fn row<R: Read>(&mut self, rows: &Rows<R>) {
        let line = rows.line();
        if (self.width..rows.len()).any(|at| rows.field(at).is_some_and(|cell| !cell.trim_ascii().is_empty()))
        {
            let problem = format!("{} fields in this row, {} in the header", rows.len(), self.width);
            let hint = "a decimal comma needs ; or tab between the fields, or quotation marks";
            self.faults.push(TraceFault::new(Some(line), "", problem, hint));
            return;
        }
        let time = self.time(rows.field(self.plan.time_at).unwrap_or_default(), line);
        let place = time.map(|time| self.place(time, line));
        for at in 0..self.plan.values.len() {
            self.value(at, rows, line, place == Some(true));
        }
        if time.is_some() {
            self.tally.samples += 1;
        }
    }

    /// The row's time in seconds; nothing if it has none or it is faulty.
    fn time(&mut self, cell: &[u8], line: u64) -> Option<f64> {
        if let TimeKind::Elapsed(linear) = self.plan.time {
            return match self.time_numbers.read(cell) {
                Cell::Number(number) => Some(linear.apply(number)),
                Cell::Missing => {
                    count(&mut self.tally.no_time, line);
                    None
                }
                Cell::Wrong(problem, hint) => self.time_fault(cell, line, problem, hint),
            };
        }
        if self.time_numbers.clone().read(cell) == Cell::Missing {
            count(&mut self.tally.no_time, line);
            return None;
        }
        if let Some(stamp) = std::str::from_utf8(cell).ok().and_then(clock::read) {
            self.plan.time = TimeKind::Clock;
            return Some(self.clock.get_or_insert(ClockRun::new(stamp)).seconds(stamp));
        }
        if self.plan.time == TimeKind::Unsaid
            && matches!(self.time_numbers.clone().read(cell), Cell::Number(_))
        {
            let hint = "write the unit into the header, such as time_s, or say it in the visit file: columns = { .. }";
            // Said once; the rows below would only repeat it.
            self.plan.time = TimeKind::Elapsed(Linear { factor: 1.0, offset: 0.0 });
            return self.time_fault(cell, line, "the time column gives no unit", hint);
        }
        self.time_fault(
            cell,
            line,
            "not a clock time",
            "give HH:MM:SS, or a date and a time such as 2026-11-24T08:40:00",
        )
    }

    fn time_fault(&mut self, cell: &[u8], line: u64, problem: &str, hint: &str) -> Option<f64> {
        let fault = TraceFault::new(Some(line), &self.plan.time_name, problem, hint);
        self.faults.push(fault.with_value(shown(cell)));
        None
    }

    /// Puts a time in its place; answers whether the row's values count.
    fn place(&mut self, time: f64, line: u64) -> bool {
        let time = time - *self.origin.get_or_insert(time);
        match self.newest {
            Some(newest) if time < newest => {
                count(&mut self.tally.back, line);
                false
            }
            Some(newest) if time <= newest => {
                count(&mut self.tally.same_time, line);
                true
            }
            _ => {
                self.flush();
                self.newest = Some(time);
                true
            }
        }
    }

    fn value<R: Read>(&mut self, at: usize, rows: &Rows<R>, line: u64, counts: bool) {
        let Some(column) = self.plan.values.get(at) else { return };
        let cell = rows.field(column.at).unwrap_or_default();
        let wrong = match self.numbers.read(cell) {
            Cell::Missing => {
                add(&mut self.missing, at);
                return;
            }
            Cell::Number(number) => {
                let value = column.linear.apply(number) - column.less;
                if sensible(column.quantity, value) {
                    add(&mut self.present, at);
                    if let (true, Some(sum), Some(n)) =
                        (counts, self.sums.get_mut(at), self.counts.get_mut(at))
                    {
                        *sum += value;
                        *n = n.saturating_add(1);
                    }
                    return;
                }
                ("a value that no rig gives", "is the unit of the column right?")
            }
            Cell::Wrong(problem, hint) => (problem, hint),
        };
        let fault = TraceFault::new(Some(line), &column.name, wrong.0, wrong.1);
        self.faults.push(fault.with_value(shown(cell)));
    }

    /// Hands the sample of the newest time stamp on.
    fn flush(&mut self) {
        let Some(time) = self.newest.take() else { return };
        for (sum, n) in self.sums.iter_mut().zip(&mut self.counts) {
            *sum = if *n == 0 { f64::NAN } else { *sum / f64::from(*n) };
            *n = 0;
        }
        self.reducer.push(time, &self.sums);
        self.sums.fill(0.0);
    }

    fn finish(mut self, needed: Quantity) -> Result<(Trace, Vec<Remark>), Vec<TraceFault>> {
        self.flush();
        self.judge(needed);
        if !self.faults.is_empty() {
            return Err(self.faults);
        }
        self.report();
        let Kept { times: time_s, columns, group } = self.reducer.finish();
        if group > 1 {
            let text =
                format!("{} samples; each {group} neighbours were averaged to one", self.tally.samples);
            self.remarks.push(Remark { code: "samples-averaged", line: None, text });
        }
        let mut trace = Trace { time_s, ..Trace::default() };
        for ((column, values), present) in self.plan.values.iter().zip(columns).zip(&self.present) {
            let place = match column.quantity {
                Quantity::Pressure => &mut trace.pressure_bar_g,
                Quantity::Flow => &mut trace.flow_l_min,
                Quantity::Temperature => &mut trace.temperature_deg_c,
                Quantity::Time => continue,
            };
            *place = (*present > 0).then_some(values);
        }
        Ok((trace, self.remarks))
    }

    /// What only the whole file shows to be wrong.
    fn judge(&mut self, needed: Quantity) {
        let Tally { samples, back: (back, line), .. } = self.tally;
        if back > BACK_SAMPLES.max(samples / BACK_SHARE) {
            let problem = format!("the time steps back, and stays behind for {back} samples");
            let hint = "the logger's clock was set: keep the part before or after, and leave the other away";
            self.faults.push(TraceFault::new(Some(line), &self.plan.time_name, problem, hint));
        }
        if !self.faults.is_empty() {
            return;
        }
        if samples < 2 {
            let problem = format!("{samples} samples with a time");
            self.faults.push(TraceFault::new(None, "", problem, "a trace needs at least 2"));
        }
        let columns = self.plan.values.iter().zip(&self.present);
        for (column, present) in columns.filter(|(column, _)| column.quantity == needed) {
            if *present == 0 && samples >= 2 {
                let hint = "was the sensor connected?";
                self.faults.push(TraceFault::new(None, &column.name, "no value in the whole column", hint));
            }
        }
    }

    fn report(&mut self) {
        let Tally { samples, same_time, back, no_time } = self.tally;
        let mut say = |code, (n, line): (u64, u64), text: String| {
            if n > 0 {
                self.remarks.push(Remark { code, line: (line > 0).then_some(line), text });
            }
        };
        say(
            "same-time",
            same_time,
            format!("{} samples repeat a time stamp; samples of one stamp were averaged", same_time.0),
        );
        say("time-back", back, format!("the time of {} samples steps back; they were left out", back.0));
        say("no-time", no_time, format!("{} rows have no time; they were left out", no_time.0));
        for (column, missing) in self.plan.values.iter().zip(&self.missing) {
            let text = format!("{missing} of {samples} samples are missing in column {}", column.name);
            say("missing-samples", (*missing, 0), text);
        }
    }
}

fn add(tally: &mut [u64], at: usize) {
    if let Some(n) = tally.get_mut(at) {
        *n += 1;
    }
}

fn shown(cell: &[u8]) -> String {
    decode::text(cell).chars().take(60).collect()
}

/// Whether a value can come from a rig's sensor at all; a wrong unit is often seen here.
fn sensible(quantity: Quantity, value: f64) -> bool {
    let (low, high) = sensible_range(quantity);
    low <= value && value <= high
}

/// Lowest and highest value that can come from a rig's sensor, in bar (gauge), l/min or degC.
pub(crate) const fn sensible_range(quantity: Quantity) -> (f64, f64) {
    match quantity {
        Quantity::Pressure => (-1.2, 1000.0),
        Quantity::Flow => (-1e5, 1e5),
        Quantity::Temperature => (-100.0, 1000.0),
        Quantity::Time => (f64::NEG_INFINITY, f64::INFINITY),
    }
}

/// A clock that runs on: over midnight, and from the first stamp's day.
#[derive(Clone, Copy, Debug)]
struct ClockRun {
    first_day: Option<i64>,
    last_seconds: f64,
    days: f64,
}

impl ClockRun {
    fn new(first: clock::Stamp) -> Self {
        Self { first_day: first.day, last_seconds: first.seconds, days: 0.0 }
    }

    fn seconds(&mut self, stamp: clock::Stamp) -> f64 {
        match (stamp.day, self.first_day) {
            #[expect(clippy::cast_precision_loss, reason = "days are far below 2^52")]
            (Some(day), Some(first)) => self.days = (day - first) as f64,
            // Without a date, half a day back means that midnight has passed.
            _ => {
                let step = stamp.seconds - self.last_seconds;
                if step < -SECONDS_PER_DAY / 2.0 {
                    self.days += 1.0;
                } else if step > SECONDS_PER_DAY / 2.0 && self.days > 0.0 {
                    self.days -= 1.0;
                }
            }
        }
        self.last_seconds = stamp.seconds;
        self.days * SECONDS_PER_DAY + stamp.seconds
    }
}
