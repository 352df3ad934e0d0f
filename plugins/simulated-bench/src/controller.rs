//! The controller inside a simulated furnace: proportional and integral, with a run-enable, a manual output, a high limit and
//! one program of ramps and soaks.

/// One segment of the program.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Segment {
    pub(crate) to_c: f64,
    pub(crate) rate_c_per_min: f64,
    pub(crate) soak_min: f64,
}

/// What the controller has been told.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Mode {
    Off,
    SetPoint,
    Manual(f64),
    Program(Progress),
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Progress {
    segment: usize,
    /// Seconds at the segment's end temperature.
    soaked_s: f64,
}

/// The controller's state.
#[derive(Clone, Debug)]
pub(crate) struct Controller {
    mode: Mode,
    pub(crate) set_point_c: f64,
    pub(crate) output_share: f64,
    /// The device's own high limit: latched above it, until 20 K below.
    pub(crate) high_limit_c: f64,
    pub(crate) over_temperature: bool,
    pub(crate) program: Vec<Segment>,
    integral: f64,
}

/// Full output this far below the set point.
const BAND_K: f64 = 25.0;
/// The integral doubles the proportional part's work in this time.
const INTEGRAL_S: f64 = 240.0;
const HIGH_LIMIT_RELEASE_K: f64 = 20.0;

impl Controller {
    pub(crate) fn new(high_limit_c: f64, program: Vec<Segment>) -> Self {
        Self {
            mode: Mode::Off,
            set_point_c: 0.0,
            output_share: 0.0,
            high_limit_c,
            over_temperature: false,
            program,
            integral: 0.0,
        }
    }

    pub(crate) fn hold(&mut self, set_point_c: f64) {
        self.mode = Mode::SetPoint;
        self.set_point_c = set_point_c;
    }

    pub(crate) fn give(&mut self, share: f64) {
        self.mode = Mode::Manual(share);
    }

    /// Starts the program at the present temperature.
    pub(crate) fn run_program(&mut self, measured_c: f64) {
        self.mode = Mode::Program(Progress { segment: 0, soaked_s: 0.0 });
        self.set_point_c = measured_c;
    }

    /// Off, and nothing left to return to.
    pub(crate) fn cut(&mut self) {
        self.mode = Mode::Off;
        self.set_point_c = 0.0;
        self.output_share = 0.0;
        self.integral = 0.0;
    }

    pub(crate) fn heat_on(&self) -> bool {
        self.mode != Mode::Off
    }

    /// Program number and segment, both from 1, 0 for none.
    pub(crate) fn running(&self) -> (i64, i64) {
        match self.mode {
            Mode::Program(progress) => (1, progress.segment as i64 + 1),
            _ => (0, 0),
        }
    }

    /// One step on what the thermocouple shows; none is a broken one, on which a controller gives nothing.
    pub(crate) fn step(&mut self, measured_c: Option<f64>, seconds: f64) {
        let Some(measured_c) = measured_c else {
            self.output_share = 0.0;
            return;
        };
        if measured_c > self.high_limit_c {
            self.over_temperature = true;
        } else if measured_c < self.high_limit_c - HIGH_LIMIT_RELEASE_K {
            self.over_temperature = false;
        }
        if let Mode::Program(progress) = self.mode {
            self.follow(progress, measured_c, seconds);
        }
        self.output_share = match self.mode {
            _ if self.over_temperature => 0.0,
            Mode::Off => 0.0,
            Mode::Manual(share) => share,
            Mode::SetPoint | Mode::Program(_) => self.regulate(measured_c, seconds),
        };
    }

    fn regulate(&mut self, measured_c: f64, seconds: f64) -> f64 {
        let error = (self.set_point_c - measured_c) / BAND_K;
        // Outside the band the integral would only wind up.
        if error.abs() < 1.0 {
            self.integral = (self.integral + error * seconds / INTEGRAL_S).clamp(0.0, 1.0);
        }
        (error + self.integral).clamp(0.0, 1.0)
    }

    fn follow(&mut self, progress: Progress, measured_c: f64, seconds: f64) {
        let Some(segment) = self.program.get(progress.segment).copied() else { return self.cut() };
        let step_c = segment.rate_c_per_min / 60.0 * seconds;
        let left_c = segment.to_c - self.set_point_c;
        if left_c.abs() > step_c {
            // The set point waits for the furnace rather than run away from it.
            if (self.set_point_c - measured_c).abs() < 2.0 * BAND_K {
                self.set_point_c += step_c.copysign(left_c);
            }
            return;
        }
        self.set_point_c = segment.to_c;
        let arrived = (measured_c - segment.to_c).abs() < BAND_K / 2.0;
        let soaked_s = progress.soaked_s + if arrived { seconds } else { 0.0 };
        self.mode = if soaked_s >= segment.soak_min * 60.0 {
            Mode::Program(Progress { segment: progress.segment + 1, soaked_s: 0.0 })
        } else {
            Mode::Program(Progress { soaked_s, ..progress })
        };
    }
}
