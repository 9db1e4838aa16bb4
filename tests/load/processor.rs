//! Where the time of the processors goes, from outside: by the threads of this process (proc(5), `task/*/stat`).

use std::time::Duration;

/// Hundredths of a second on every Linux that runs this (proc(5), `sysconf(_SC_CLK_TCK)`).
const TICK: Duration = Duration::from_millis(10);

/// Time of the processors since the start of this process.
#[derive(Clone, Copy, Default)]
pub(crate) struct Spent {
    /// Threads in which the database's statements run and its file is written.
    database: Duration,
    /// All others: clients, actions, grades.
    rest: Duration,
}

/// Name and time of a process or thread by its `stat`.
fn read(stat: &str) -> (&str, Duration) {
    // The name stands in parentheses and may hold anything; after it comes the state, the third field.
    let (name, fields) = stat.rsplit_once(')').unwrap();
    let fields: Vec<&str> = fields.split_whitespace().collect();
    let ticks: u32 = fields[11].parse::<u32>().unwrap() + fields[12].parse::<u32>().unwrap();
    (name, TICK * ticks)
}

impl Spent {
    pub(crate) fn now() -> Self {
        let mut database = Duration::ZERO;
        for task in std::fs::read_dir("/proc/self/task").unwrap() {
            // A thread may end while this goes through them.
            let Ok(stat) = std::fs::read_to_string(task.unwrap().path().join("stat")) else {
                continue;
            };
            let (name, time) = read(&stat);
            if name.contains("(sqlx-sqlite") {
                database += time;
            }
        }
        let all = read(&std::fs::read_to_string("/proc/self/stat").unwrap()).1;
        Self {
            database,
            rest: all.saturating_sub(database),
        }
    }

    /// What was spent since then.
    pub(crate) fn since(self, begun: Self) -> Self {
        Self {
            database: self.database.saturating_sub(begun.database),
            rest: self.rest.saturating_sub(begun.rest),
        }
    }

    pub(crate) fn plus(self, more: Self) -> Self {
        Self {
            database: self.database + more.database,
            rest: self.rest + more.rest,
        }
    }

    pub(crate) fn all(self) -> Duration {
        self.database + self.rest
    }

    /// For each of so many, in words.
    pub(crate) fn each(self, count: usize) -> String {
        let each = |time: Duration| time.as_secs_f64() * 1e6 / count as f64;
        let (database, rest) = (each(self.database), each(self.rest));
        format!(
            "{:.0} us of the processors each: {database:.0} in the database, {rest:.0} elsewhere",
            database + rest
        )
    }
}

/// Time of the processors since the start of the system that its host gave to others (proc(5), `/proc/stat`, the eighth number).
pub(crate) fn stolen() -> Duration {
    let stat = std::fs::read_to_string("/proc/stat").unwrap();
    let all = stat.lines().next().unwrap();
    TICK * all.split_whitespace().nth(8).unwrap().parse::<u32>().unwrap()
}

pub(crate) fn cores() -> usize {
    std::thread::available_parallelism().unwrap().get()
}

/// What part of the processors' time in so long this is, in per cent.
pub(crate) fn percent(time: Duration, elapsed: Duration) -> f64 {
    100.0 * time.as_secs_f64() / (elapsed.as_secs_f64() * cores() as f64)
}
