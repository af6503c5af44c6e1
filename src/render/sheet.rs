//! A work sheet for an acceptance test: case by case what to take away, what is to be expected before, during and
//! after it, and room for what was measured.
//!
//! Every expectation is a range: over replications where there are several, from the mean to the busiest 20 ms for
//! how full a part is. The sheet is for people on a site, so it begins with what keeps them and the data safe.
//!
//! Left out: which commands disable a port, which belong to the makers and to the site.

mod html;
mod lines;
mod state;

pub use html::sheet_page;
pub use lines::{AtLoad, Sheet, SheetCase, SheetLine, Steps, sheet};

/// How a silent loss is made, where it can be: common practice, without a source.
pub const SILENT: &str = "This loss is silent: the links keep their signal, and frames vanish. Disabling a port would be another loss, a loud one, with other \
     timers. On Ethernet a filter that drops every frame at a switch behind these links, in the ways named above (both, where none is), leaves the signal up; have a way to take it away \
     that does not lead over them. On Fibre Channel no setting of a port does that, and taking members out of a zone is told to the hosts: it needs a \
     device for impairment in the link, put there in a window of its own. Without such means leave this step out, and do not tick it by a loud loss. \
     (Common practice, no source.)";

/// How a slow or damaging link is made: common practice, without a source.
pub const SLOW: &str = "Nothing is disabled here: the links stay up and are slow, or damage frames. A lower rate can be set as the speed of a port at both \
     ends, which takes the link down for a moment, or as a limit at a switch; frames are damaged by a device for impairment in the link. Take it away after \
     the step. Without such means leave this step out. (Common practice, no source.)";

/// How a loss is made that comes again: common practice, without a source.
pub const REPEATED: &str = "The parts go and come back at the times that are listed, counted from the first: what is expected holds for this series \
     alone. Have it done by a script of the switch, or leave this step out. (Common practice, no source.)";

/// What is said before anything is taken away, in the order of the work.
pub const CAUTIONS: [&str; 8] = [
    "An estimate from stated inputs, no guarantee and no approval of a design. The proof is the test.",
    "Only in an approved change window, with backups that were made and verified.",
    "First see that every multipath device shows all the paths expected below, and that multipath has been proven to switch.",
    "One step at a time, and all paths back before the next step. Never both fabrics in one window.",
    "Rather disable a port administratively than pull a cable. Watch that I/O goes on.",
    "Never look into the end of a fibre, a transceiver or an adapter: the light is invisible, and seeing none means nothing. Cap what is unused.",
    "Changing timers can cost access to data. When no path is left, waiting for ever can hang hosts, and failing at once can turn volumes read-only: a decision of the site.",
    "The makers' support statements and release notes and the procedures of the site come first.",
];
