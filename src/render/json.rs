//! Results for machines: the JSON contract, format 1.
//!
//! Every document is one object that begins with
//!
//! | field | meaning |
//! | --- | --- |
//! | `format` | 1; a change of meaning is a new number, a new field is not |
//! | `program` | `halfloom` |
//! | `estimate` | `true`: nothing here is a measurement or a guarantee |
//! | `kind` | `report`, `scenarios`, `review`, `paths`, `headroom`, `comparison`, `workload`, `measured`, `growth` or `windows` |
//!
//! and goes on with the fields below. A name ends with its unit: `_us` microseconds, `_s` seconds, `_mb_s`
//! 10^6 bytes per second, `_gb_s` 10^9 bits per second, `_iops` I/Os per second, `_percent` per cent, `_share`
//! a fraction of 1. What has no figure is `null`; figures that are not finite do not appear, they are `null`
//! as well. Counts are whole numbers. An *estimated* figure is `{"value", "low", "high"}`: the estimate and
//! the ends of its two-sided 95 % interval over the replications, `null` where none can be given.
//!
//! # `report`
//!
//! - `origin`: how to repeat it to the byte. `version`, `title`, `scenario` (file name), `digest` (SHA-256 of
//!   the scenario text and what was set), `seed`, `replications`, `switch_replications`, `command`, `set`
//!   (pairs of key and value).
//! - `steady`: one object a case, healthy first.
//!   - `case`: `name`, `outage` (`null` when healthy), `lost` and `carries` (`"A"`, `"B"` or `null`).
//!   - `replications`, `warm_up_s` (start of the window), `warm_up_found_s` (where MSER-5 would cut),
//!     `duration_s` (end of the window), `bin_s`, `saturated`, `partial` (stopped by the limit that `stopped_by` names), `unmeasured` (stopped within the warm-up: every figure below is `null`),
//!     `events`, `frame_hops`, `ios` (completed), all replications.
//!   - `workloads`: `name`, `saturated`, `service_beyond_run_s` (mean service of the slowest kind where it is too long for the run; else `null`), `filling` (`null`, or the nearly full part whose queue the run does not see filled: `part`, `busy_percent`, `memory_s`, `wait_s` in the long run, `missing_share` of the mean wait, `enough_s`), `all`, `reads`, `writes` (populations), `budget`, `curve`, `bins`,
//!     `peak_iops` and `peak_offered_iops` (busiest 20 ms).
//!     - a population: `ios` (arrived in the window), `unfinished`, `failed`, `offered_iops`,
//!       `completed_iops`, `throughput_mb_s`, `mean_us` (estimated), `mean_each_us` (least and greatest of the
//!       replications'), `quantiles` (`q`, `latency_us` estimated, `each_us` least and greatest of the replications', or `beyond_us`
//!       when it lies among unfinished I/Os), `min_us`, `max_us`.
//!     - `budget`: `part`, `tier` (for queueing), `mean_us`; they add up to the mean.
//!     - `curve`: `q`, `latency_us`. `bins`: `t_s`, `offered_iops`, `completed_iops`, `mean_us`.
//!   - `directions`, one for each direction of each member: `name`, `family`, `tier`, `from`, `to`, `side`,
//!     `toward_array`, `speed`, `usable_mb_s`, `utilization_percent`, `peak_percent` (busiest 20 ms),
//!     `asked_peak_percent` (asked in the busiest 20 ms, over 100 when it cannot keep up), `asked_peak_by_arithmetic` (that is of bursts of which the runs measure too few, and more than they saw), `frames`,
//!     `payload_bytes`, `overhead_bytes`, `payload_mb_s`, `wait_mean_us` (with `wait_mean_low_us`, `wait_mean_high_us`), `wait_p50_us`, `wait_p99_us`,
//!     `wait_p999_us`, `queue_mean`, `queue_max`, `queue_max_bytes`.
//!   - `arrays`, one a controller: `name`, `family`, `parallel`, `utilization_percent`, `peak_percent`,
//!     `asked_peak_percent`, `asked_peak_by_arithmetic`, `served`, `wait_mean_us` (with `wait_mean_low_us`, `wait_mean_high_us`), `wait_p99_us`, `service_mean_us`, `queue_mean`,
//!     `queue_max`.
//!   - `hosts`: `host`, `workload`, `issued`, `wait_mean_us`, `queue_max`.
//!   - `paths`: `host`, `workload`, `host_port`, `array_port`, `side`, `completed`, and
//!     `standby` where it is over a port of a team that is not in use.
//!   - `unseen_bursts`: bursts that the busiest 20 ms do not have from the runs as they are: `workload`, `why` (`"rare"`: a run measures too few,
//!     so that `asked_peak_percent` has them by arithmetic; `"short"`: shorter than 20 ms, over which they are spread), `burst_s`, `every_s`,
//!     `measured_s` (of a run), `enough_s` (would show three), `part` (asked for most in a burst, or `null`), `percent` (what for, by
//!     arithmetic), `seen_percent` (what the runs had there in the busiest 20 ms), `hides` (workloads of which no promise is called met, as all runs together hold too few such bursts).
//! - `switches`: one object a switch-over; times count from `counted_from` (`"loss"`, `"drain"` before a planned one, `"outage"` that makes links slow or ill, or the first
//!   `"event"`). `case`, `replications`, `preset`, `timers_stated` (timers that the scenario states besides), `harm` to parts (`"loss"`, `"slow"` or `"both"`), `silent` (parts are lost and no signal tells),
//!   `from_s`, `to_s`, `bin_s`, `losses` (how many times parts are lost), `settled_s` (`null`: not within `limit_s`), `settles_to` (`"survivors"`, `"healthy"` once everything is back, `"without-paths"` where hosts never take paths that are there into use again by themselves, `"guests-elsewhere"` where guests stay on the hosts on which they were restarted, or `"stays-slow"`: what is left, of which a part stays slow or damages frames), `limit_s`, `partial`,
//!   `events_handled`, `frame_hops`, `ios`.
//!   - `workloads`: `name`, `policies` (of paths, at its hosts; `team`: one port at a time), `outstanding` (most under way at all its hosts by a bound of its
//!     own; `null`: by the depth of the paths alone), `rated` (`false`: a closed loop), `bins` (`t_s`, `offered_iops`, `completed_iops`, `failed_iops`, `mean_us`, `p99_us`, `max_us`,
//!     `oldest_us`, `backlog`), `back` (`s`, `by`, `manual`,
//!     `given_up_s`: when restored paths are in use again by timers, or only found, and how long they may be away), `by_timers` (`s` and `by`: the stall of an I/O caught by the loss by
//!     its timers alone; `null` where that is not all), `longest_io_s` (one a replication), `longest_open` (one a replication: it was not over), `no_path` (I/Os
//!     waited without any path when the run ended), `failed_without_path` (I/Os failed for want of a path), `hosts` (how many it has), `without_path` (names of those for which
//!     one of the two is so), `hosts_gone` (hosts lost themselves whose work nobody
//!     is left to do when the run ends), `freed_by` (of `events`: what let the longest I/O end, or `null`), `failed_by` (of `events`: the first that failed, or `null`), `longest_silence_s` (worst replication), `silence_s` (of each replication), `chance_silence_s` (up to this a silence is chance),
//!     `stops` (of the first replication: `from_s`, `to_s`, `s`, `ended_by`, `cause` (`"no-path"`, `"lost-paths"`: what was under way hung on what is lost while others answered,
//!     `"volumes"`: they had no controller, `"hosts-lost"`); nothing was completed while some of it hung or failed; `to_s` and `ended_by` are `null`
//!     where nothing has ended it),
//!     `above_promise_share`, `above_promise_s`, `completed`, `completed_least_iops` (in 20 ms after the loss, or in `bin_s` where that is longer),
//!     `completed_most_iops` (busiest 20 ms after it), `chance_most_iops` (up to this it is chance), `retried`, `failed`, `lost_with_host` and `unasked` (their host was lost; one a replication; nobody waits for the latter, so that no share counts them),
//!     `late`, `unfinished`, `hanging` (had lost a frame or been sent again and were not
//!     over at the end, one a replication), `held` (most that hung on lost paths at once, each counted once, one a replication), `backlog_peak`, `drain_s` (`null`: not within the run, or `fails_after`), `fails_after` (all that comes fails in the state after, once hosts wait no longer for a path: in the run itself nothing may have failed yet), `settled_s`, `survivors_peak_iops`.
//!   - `events`: `t_s`, `what`, `timer`, `workload`, `ios`, `ended_stall`.
//!   - `lanes`: `name`, `side`, `workloads`, `spans` (`from_s`, `to_s`, `state`, `kind`).
//! - `matrix`: `cases`, `rows`. A row: `workload`, `measure` (`"mean"`, `{"quantile": 0.99}`,
//!   `"throughput"`, `"longest-io"`, `"failed"`), `switching`, `cells` (one a case, `null` where nothing was
//!   promised). A cell: `verdict` (`"met"`, `"missed"`, `"undecided"`), `saturated`, `value` (estimated),
//!   `beyond`, `unit` (`"us"`, `"MB/s"`, `"s"` or empty), `target`, `target_text`, `margin_percent`,
//!   `above_share`, `above_allowed`, `failed` (I/Os, all replications: of latency promises in steady states), `replications`, `replications_needed`,
//!   `left_open` (`null`, or why more replications do not decide: `{"waiting": n}`, in so many an I/O waits when the switch-over run ends, or
//!   `"run-too-short"`, `"filling"`: the queue of a nearly full part has not filled by its end, `"bursts"`: the runs hold too few of them, `"stopped"` by a limit, `"piles-up"`: the state after a switch-over is asked for more than it carries).
//! - `parts`: `part`, `detail`, `tier`, `cases` (one a case: `instance`, `mean_percent`, `asked_mean_percent` (by arithmetic,
//!   without a run; `null` where not known), `peak_percent`,
//!   `member_peak_percent`, `fullest_member_share_percent`).
//! - `growth`: `case`, `factor` (times today's load), `part`, `next` (pair of part and factor).
//! - `mends`, changes that were simulated: `name`, `set`, `origin` (`stated`: a variant of the scenario, or
//!   `proposed`), `changes` (`cables`, `ports`, `settings`, `parts`: `kind`, `of`, `count`; `price` and `unpriced` by
//!   the price list), `matrix`, `steady`, `growth`, `mends_all`, `repairs` (nothing is missed with it, and only what was undecided without it stays so), and
//!   `left` (`case`, `workload`, `timer`) where a switch-over is missed all the same: what ended the longest I/O then.
//! - `mend_search` (`null` when not asked): `most`, `tried`, `rounds`, `fixed` (workload, case and cause of a
//!   stall that no timer of another preset bounds), `calm` (workload and
//!   case that no part limits), `refused` (`name`, `set`, `reason`: what the
//!   scenario does not admit), `priced`, `sets_tried` and `sets_untried` (with prices: sets of up to three changes that cost less than
//!   the cheapest that mends everything, simulated and not).
//! - `each_part`, every single part lost in turn (`null` when not asked): `during` (the outage in force, or
//!   `null`), `parts`, `cases_run`, `cases_saved` (parts in the same place as one that was run), `grouped`,
//!   `replications`, `duration_s`, `switch_replications` (0: no switch-over was simulated), `cases` and `matrix`
//!   (as above; column by column, first the state before, then one a part).
//!   - `cases`: `kind`, `part`, `also` (parts whose loss is the same), `alike` (parts in the same place),
//!     `gone_hosts`, `cut_off` (`array`, `hosts`, `workloads`), `fullest` (`part`, `instance`, `mean_percent`,
//!     `asked_mean_percent`: by arithmetic, `null` where all work fits, `peak_percent`: asked in the busiest 20 ms; of the parts that work crosses which misses a promise of the state after), `switch_over` (`settled_s`, `longest_io_s`, `longest_open`, `no_path`, `failed_without_path`,
//!     `longest_silence_s`, `failed`, `retried`, `timer`: the one that ended the stall), `saturated`,
//!     `partial`.
//! - `windows`, the hours in which each outage may be brought about (`null` when not asked): as below.
//! - `picture`: `nodes` (`name`, `detail`, `count`, `shape`, `lane`, `chassis`, `lost_in`, `layer`, `protocols` of an array) and
//!   `pipes` (`from`, `to`, `label`, `detail`, `lane`, `load`: `mean_percent`, `asked_peak_percent`,
//!   `fullest_percent` (of the fullest member in the same direction),
//!   `toward_array`).
//! - `review`: as below. `assumptions`: `key`, `what`, `value`, `mark`, `source`, `line`.
//! - `precision`, `null` unless one was asked for: `within_percent`, `narrow_percent` (half width that counts as narrow
//!   enough), `reached`, `looks` (replications at each look), `replications_max`, `figures`, `level_percent` (of each
//!   interval), `widest` (`case`, `workload`, `measure`, `half_width_percent`), `left_out` (`case`, `workload`,
//!   `measure`, `why`) and `stopped_by` (the limit that stopped a run, which ended the rule; else `null`).
//! - `percentile_error_percent`: how far a percentile may lie above the true one, at most.
//!
//! # `review`
//!
//! `review`: `cases`; `tiers` (`tier`, `side`, `links`, `nominal_gb_s`, `usable_gb_s`, `oversubscription`,
//! `toward_array_percent`, `toward_host_percent`, `burst_percent`, `closed` (a closed loop comes on top), one a case);
//! `closed_controllers` (the same of each controller); `controllers` (name, parallel,
//! per cent on the mean and in a burst by case); `findings` (`severity`, `kind`, `what`, `advice`); `theory`, what closed
//! forms say (`case`, `part`, `figure`, `unit`, `value`, `trust`: `"exact"`, `"approximation"`, `"at-most"`, `"at-least"`,
//! `by`, `assumes`, `simulated`, `simulated_low`, `simulated_high`, which are `null` in a review without a run).
//!
//! # `paths`
//!
//! `paths`: `host`, `array`, `workloads`, `protocol`, `paths` (`side`, `host_port`, `array_port`, `hops`,
//! `idle_us`, `idle_frame_bytes`, `narrowest`, `one_flow_gb_s`). A hop: `name`, `speed`, `members`,
//! `encapsulation`, `nominal_gb_s`, `usable_gb_s`, `onward`. `host_bus`, where one is stated, which no run
//! simulates: `bus`, `shared` with other ports of the host, `into_host_gb_s`, `out_of_host_gb_s`, `hop_payload_gb_s` (data that the
//! narrowest hop carries in full frames), `narrower`.
//!
//! # `wire`
//!
//! `version` of the program, `protocol`, `op`, `size_bytes`, `mtu_bytes`, `encapsulation` (on the first link, which all
//! but `links` is for), `round_trips`, `payload_share`, `length_m`; and:
//!
//! - `messages`: `name`, `direction`, `served` (the array works when it has arrived), `frames`, `payload_bytes`,
//!   `wire_bytes`, `pure_acks_back`, `leaves_us` and `arrives_us` (idle link), `runs` of frames that are alike
//!   (`frames`, `payload_bytes`, `wire_bytes` of each).
//! - `host_to_array` and `array_to_host`: `frames` and `wire_bytes` without pure ACKs, `pure_acks`,
//!   `pure_ack_wire_bytes`, and `account`, whose parts add up to `wire_bytes`: `payload_bytes`, `protocol_bytes`,
//!   `transport_bytes`, `network_bytes`, `link_bytes`, `gap_bytes`.
//! - `frame_overhead`: `layer`, `bytes` in each frame.
//! - `links`: `link`, `encapsulation`, `usable_gb_s`, `host_to_array_wire_bytes`, `array_to_host_wire_bytes`,
//!   `host_to_array_coding_bytes`, `array_to_host_coding_bytes` (what code and FEC add), `host_to_array_us`,
//!   `array_to_host_us` (frames on the wire), `fuller` (the direction that is full first), `goodput_mb_s` and
//!   `saturated_iops` then, `idle_us` = `serialization_us` + `propagation_us` + `fec_us`.
//!
//! # `wire-sweep`
//!
//! `version`, `op`, `series`: `name`, `protocol`, `link`, `encapsulation`, `mtu_bytes`, `usable_mb_s`, `points`
//! (`size_bytes`, `host_to_array` and `array_to_host`, each `frames` and `wire_bytes`, `payload_share`,
//! `goodput_mb_s`, `saturated_iops`).
//!
//! # `headroom`
//!
//! `origin` and `parts` as above (at today's load); `grows`: `what` (`"load"` or a family of hosts) and `hosts` of it
//! today (a factor times these is a number of hosts), `depth` (where all work is in closed loops: `workload` and `depth` of the
//! deepest, outstanding at each host today; a factor times that is a whole depth), `limit` (why no more than `most` can be built, else `null`); `confidence_percent` (both ends of a case together, each
//! case by itself), `most` (largest factor tried), `partial` (stopped before its end), `notes`. Every `factor` is times today's load. `cases`:
//! `case`, `saturation` (fullest part full on the mean, or no more let through by queue depths, by arithmetic), `depth` (the latter: `workload`,
//! `factor`, or `null`), `met` (largest factor proven to keep
//! every promise), `unlike` (hosts look at queues over unlike ways, so that less load need not be met as well), `holes` (loads below `met`
//! that are proven to break a promise, rising: `factor`, `breaks`), `missed` (smallest above `met` proven to break one), `certain` (every
//! load above it breaks one, by arithmetic; or `null`), `crossing` (no proof: where the curve
//! through `fitted` runs crosses the promise, or interpolated where `fitted` is `null`), `no_crossing` (why there is none: `"one-sided"`, `"flat"`, `"piles-up"` (work piles up while the figure is kept),
//! `"few"` runs near it, or `outside` with the `factor` that the runs have and that is not between the proven ends; else `null`), `knee` (of the loads that were run, where load ÷
//! the latency that breaks first is largest, beyond the intervals at both ends), `breaks`
//! (`workload`, `measure`, `target_text`, `saturated`, `kept_by_others`), `ends` (the part that ends it at `missed`, else the fullest at
//! `met`), `beside` (another on the same way that is about as full, within a tenth: it ends it as well; or `null`), `next` and `ranked_by` (the figure that these two go by: `"mean"` or `"busiest"`, asked in the busiest 20 ms), `unwaited_percent` (of the mean latency of the broken promise's work there, what is no waiting, or `null`), `bound` (what ended it at `met` where no promise did: `"asked"`, `"buildable"`, else `null`), `floor` (from which load on
//! a throughput is asked for that is promised, or `null`: `workload`, `target_text`, `factor`, `asked_mb_s` today; of a closed loop, where that is `null`, the least load that was run and brought it, with `short`, the largest below that brought too little, and `step`, from which on one more is outstanding where that is between two whole loads), `hopeless` (a
//! promise that no load keeps, or `null`: `workload`, `measure`, `target_text`, `because`: `idle-mean`, `idle-wire` and `least-load`
//! with `latency_us`, the last with `factor`, `full-before` and `most-before` with `factor` and `throughput_mb_s`, `never-brought` with these and `least`, the range of the runs and the most that they brought, or `"no-path"`), `today` (every promise at
//! today's load, with the switch-over where it was judged: `"met"`, `"missed"`, `"undecided"`, or `null` where nothing steady is promised), `switch_over` (at the largest load proven healthy and in this case, or `null`: `factor`, `replications`,
//! `verdict`, `rows` as of a point, `partial`, `settled_s`, `frame_hops`), `switch_tried` (the same at lower loads, where it is not met
//! there), `switch_met` (the largest of these loads at which it is met; not proven but seen; or `null`), `points`. `switch_overs` says whether they were judged:
//! `"judged"`, `"not-asked"` or `"nothing-promised"`. A point: `factor`, `purpose` (`"pilot"`, `"prove-met"`, `"prove-missed"`, `"below"`), `depths` (closed loops as they ran: `workload`, `depth`), `replications`,
//! `verdict`, `lengthened_s` (its runs were made so long, else `null`), `needs_s` (its runs are too short to call it met, so long
//! would do, else `null`), `saturated`, `partial`, `frame_hops`, `rows` (`workload`, `measure`, `cell`), `fullest` (three parts, of those
//! that the broken promise's work uses where one is missed: `part`, `instance`, `mean_percent`, `peak_percent`), `unseen_bursts` (as above).
//!
//! # `windows`
//!
//! `origin` as above, and `windows`: `needed_hours` (in a row), `shapes` (`workload`, `stated`, `factors`: 24 of the stated rate, from
//! midnight on), `loads` (different ones), `bracketed` (hours judged by busier and quieter ones, else each load simulated),
//! `switch_judged` (the drain and the loss too), `replications`, `switch_replications`, `duration_s`, `notes`, `outages`:
//! `case`, `takes`, `cut_off` (hosts without a path: `array`, `hosts`, `workloads`), `simulated` (loads, the state), `ways_simulated` (the drain and the loss), `windows` and `longest` (`from_hour`, `to_hour` at whose start it is over,
//! `hours`), `verdict` (whether that is long enough) and `hours`. An hour: `hour` (0 for midnight to one), `least_factor`, `most_factor` (of any
//! workload), `verdict`, `state` (with the outage in force), `judged_by` (`simulated`, `same-load`, `busier-hour`,
//! `quieter-hour`, `no-work`), `figures_of_hour` (whose they are), `switch_over` (`null`: not judged), `switch_judged_by`,
//! `switch_of_hour`, `margin_percent` (smallest), `tightest` (`workload`, `measure`, `target_text`, `margin_percent`, `judged_by`: of
//! a busier hour a lower bound, of a quieter one an upper), `saturated`, `partial`, `fullest` (as of a single part), `longest_io_s` (of the
//! drain and the loss), `rows` (as of a matrix, one cell each; none where another hour judged).
//!
//! # `scenarios`
//!
//! `scenarios`, a row a file: `scenario`, `title`, `digest`, `verdict` (the worst of its judgements, or `no promise
//! stated`), `met` of `judged`, and of the worst judgement `case`, `workload`, `measure` (as text), `value`, `unit`,
//! `target_text`, `margin_percent`; `part` and `peak_percent` of the fullest part there; `partial` (a limit stopped a run), `command`. `reports`: the
//! whole of each, as under `report`.
//!
//! # `comparison`
//!
//! `origin`, `warm_up_s`, `notes`; `designs`: `name`, `digest`, `set`, `other_work` (in what its work is not that of the first), `matrix`, `partial` (a limit stopped one of its runs), `inventory` (`hosts`,
//! `switches`, `modules`, `controllers`, `devices` (`kind`, `of` which family, `count`), and `cables`, `ports`, `optics`,
//! `lit_legs` and `dark_legs` as pairs of speed and number), `changes` (what it takes beside the first, as of a change, with
//! its price) and `frees` (what the first has and this does not need, alike); `priced`: with a price list;
//! `differences`: `design` (index, the first is 0), `case`, `workload`, `measure`, `promised`, `unit`,
//! `first`, `value` (`null` where `first_lacks` or `value_lacks` says why: `"saturated"`, `"cut-off"`, `"no-figure"`), `difference` (estimated: this design less the first), `base` (the
//! first design's figure as the mean over the replications: what a difference in per cent is of), `change` (`"same"`, `"better"`, `"worse"`, `"not-shown"`); `part_differences`: `design`, `case`, `part`,
//! `first_instance` and `value_instance` (which of the family: the fullest by arithmetic), `first_percent` and `value_percent` (`null`: it has no such part), `difference` (`null` with either), `change`.
//!
//! # `workload`
//!
//! `file`, `recording` (of which kind: `"block trace"`, `"statistics"`), `rows`; `whole` recording and `busiest` stretch:
//! `span_s` and `ios` (`null`: one sample alone), `iops`, `mb_s`, `read_share`, `read_byte_share`, `size_bytes`, `read_size_bytes`, `write_size_bytes`,
//! `read_sizes` and `write_sizes` (pairs of size and share). `busiest_from_s`; `dispersion`: `window_s`, `recorded` and
//! `modelled` variance ÷ mean of the I/Os in such windows; `gap_variation`, `peak_to_mean_100ms`,
//! `peak_to_mean_sample`, `sample_s`, `clock_s` (steps of the clock of a trace, where they are longer than the gaps), `depth` (mean outstanding), `depth_most`, all `null` where unknown, `rows_without_depth` (rows of the stretch that do not say what
//! was outstanding, and all its rows); `arrivals`
//! (`"poisson"`, `"replay"`, `paced`: `iops`, or `bursty`: `peak` and `base` I/Os a second, `burst_s`, `every_s`, `law` of both times, `"exponential"` or `"fixed"`), `notes`, `toml`.
//!
//! # `measured`
//!
//! `origin`, `case`, `partial` (a limit stopped a run), `file`, `notes`; `rows`, the farthest apart first: `part`, `toward_array`, `links` that it means, `span_s`,
//! `measured_mb_s`, `simulated_mb_s` (`simulated_low_mb_s`, `simulated_high_mb_s`: its interval), `ratio` (`ratio_low`, `ratio_high`:
//! against the ends of that), `measured_frames_s`, `simulated_frames_s`, `frames_ratio`, `resets`.
//!
//! # `growth`
//!
//! `origin`, `from` (the day of the stated load; days are texts like `2027-03-31`), `per_year_percent` (pairs of workload and
//! growth), `confidence_percent`, `years` looked ahead, `partial` (stopped before its end), `cut` (a limit stopped a run), `notes`; `stages`: `name`, `date`, `set`, `until` (day of the next step), `search` (`"whole"`, `"stopped"` on the way, `"not-begun"`), `cases`: `case`,
//! `holds_until` and `breaks_by` (proven, or `null`), `holds_factor` and `breaks_factor` (times the load of the first day of the
//! work that grows fastest), `full_by` (arithmetic) and `full_depth` (the workload of which a queue depth is full then, before any part), `standing` (`"holds"` until the next step, `"broken-before"` this stage, `"short-at-first"` where a throughput is promised that is asked for only from `asked_from` on, and nothing is proven to break that day,
//! `"never"` kept at any load, which `hopeless` tells of as in headroom, as `floor` does of a throughput that is asked for only from the day `asked_from` on, `"breaks"`, `"open"`, `"unpromised"`), `breaks` and `ends` as in headroom.

use super::several::ScenarioRow;
use crate::outcome::{
    Comparison, Derived, Exchange, GrowthPlan, Headroom, Measured, Origin, PathSheet, Report,
    Review, Sizes, Windows,
};
use serde::Serialize;

/// Number of the contract above.
pub const FORMAT: u32 = 1;

#[derive(Serialize)]
struct Document<'a, T: Serialize> {
    format: u32,
    program: &'static str,
    estimate: bool,
    kind: &'static str,
    #[serde(flatten)]
    body: &'a T,
}

#[derive(Serialize)]
struct WindowsBody<'a> {
    origin: &'a Origin,
    windows: &'a Windows,
}

#[derive(Serialize)]
struct ReviewBody<'a> {
    review: &'a Review,
}

#[derive(Serialize)]
struct PathsBody<'a> {
    paths: &'a [PathSheet],
}

/// What follows from standards alone: the program's version says which.
#[derive(Serialize)]
struct WireBody<'a, T: Serialize> {
    version: &'static str,
    #[serde(flatten)]
    wire: &'a T,
}

/// One I/O as `wire` prints it.
#[must_use]
pub fn exchange_json(exchange: &Exchange) -> String {
    wire_document("wire", exchange)
}

/// Many sizes as `wire --sweep` prints them.
#[must_use]
pub fn sizes_json(sizes: &Sizes) -> String {
    wire_document("wire-sweep", sizes)
}

fn wire_document<T: Serialize>(kind: &'static str, wire: &T) -> String {
    let version = env!("CARGO_PKG_VERSION");
    document(kind, &WireBody { version, wire })
}

fn document<T: Serialize>(kind: &'static str, body: &T) -> String {
    let whole = Document {
        format: FORMAT,
        program: "halfloom",
        estimate: true,
        kind,
        body,
    };
    // Only a map with keys that are no strings, or a type that refuses to be written, could fail; the result
    // types have neither.
    let mut text = serde_json::to_string_pretty(&whole).unwrap_or_default();
    text.push('\n');
    text
}

#[derive(Serialize)]
struct SeveralBody<'a> {
    scenarios: &'a [ScenarioRow],
    reports: &'a [Report],
}

/// Several scenarios as JSON: a row each, then the whole report of each.
#[must_use]
pub fn several_json(scenarios: &[ScenarioRow], reports: &[Report]) -> String {
    document("scenarios", &SeveralBody { scenarios, reports })
}

/// A whole study as JSON.
#[must_use]
pub fn report_json(report: &Report) -> String {
    document("report", report)
}

/// How far the work can grow, as JSON.
#[must_use]
pub fn headroom_json(headroom: &Headroom) -> String {
    document("headroom", headroom)
}

/// A comparison as JSON.
#[must_use]
pub fn comparison_json(comparison: &Comparison) -> String {
    document("comparison", comparison)
}

/// A workload derived from a recording as JSON.
#[must_use]
pub fn derived_json(derived: &Derived) -> String {
    document("workload", derived)
}

/// Measured counters beside simulated ones as JSON.
#[must_use]
pub fn measured_json(measured: &Measured) -> String {
    document("measured", measured)
}

/// When promises break as the work grows, as JSON.
#[must_use]
pub fn growth_json(plan: &GrowthPlan) -> String {
    document("growth", plan)
}

/// The hours in which outages may be brought about, as JSON.
#[must_use]
pub fn windows_json(origin: &Origin, windows: &Windows) -> String {
    document("windows", &WindowsBody { origin, windows })
}

/// The static review as JSON.
#[must_use]
pub fn review_json(review: &Review) -> String {
    document("review", &ReviewBody { review })
}

/// Path sheets as JSON.
#[must_use]
pub fn paths_json(paths: &[PathSheet]) -> String {
    document("paths", &PathsBody { paths })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::{
        sample_comparison, sample_headroom, sample_mends, sample_report, sample_singles,
    };
    use crate::study::exchange;
    use serde_json::Value;
    use std::collections::BTreeSet;

    fn keys(value: &Value, out: &mut BTreeSet<String>) {
        match value {
            Value::Object(map) => {
                for (key, inner) in map {
                    out.insert(key.clone());
                    keys(inner, out);
                }
            }
            Value::Array(items) => items.iter().for_each(|item| keys(item, out)),
            _ => {}
        }
    }

    #[test]
    fn every_field_is_documented_above() {
        let report = sample_singles();
        let mut found = BTreeSet::new();
        let mut sheets = crate::render::table::tests::sheets();
        sheets[0].paths[0].host_bus = Some(crate::outcome::HostBusRow {
            bus: "PCIe4x8".to_owned(),
            shared: false,
            into_host_gb_s: 1.0,
            out_of_host_gb_s: 1.0,
            hop_payload_gb_s: 1.0,
            narrower: true,
        });
        let protocol = crate::wire::Protocol::with_defaults("iscsi").expect("a key");
        let known = crate::wire::technology("10GbE").expect("in the table");
        let link = (known, crate::wire::Encapsulation::Ethernet);
        let (op, size) = (crate::wire::Op::Write, 65_536);
        let trace = "timestamp_ns,op,offset_bytes,size_bytes\n0,R,0,512\n9,W,0,512\n";
        let trace = crate::scenario::recording("t.csv", trace).expect("a trace");
        let names = crate::study::derive::Names {
            file: "t.csv".into(),
            workload: "w".into(),
            hosts: "h".into(),
            array: "a".into(),
            protocol: Some("iscsi".into()),
            replay: crate::study::derive::Replay::No,
        };
        let mut derived = crate::study::derive::derive(&trace, &names);
        derived.arrivals = crate::outcome::DerivedArrivals::Bursty {
            peak: 2.0,
            base: 1.0,
            burst_s: 1.0,
            every_s: 2.0,
            law: crate::outcome::DerivedLaw::Exponential,
        };
        let measured = Measured {
            origin: report.origin.clone(),
            case: report.matrix.cases[0].clone(),
            partial: false,
            file: "c.csv".into(),
            rows: vec![crate::outcome::MeasuredRow {
                part: "edge-A".into(),
                toward_array: true,
                links: 1,
                span_s: 1.0,
                measured_mb_s: Some(1.0),
                simulated_mb_s: 1.0,
                simulated_low_mb_s: None,
                simulated_high_mb_s: None,
                ratio: None,
                ratio_low: None,
                ratio_high: None,
                measured_frames_s: None,
                simulated_frames_s: 1.0,
                frames_ratio: None,
                resets: 0,
            }],
            notes: Vec::new(),
        };
        for text in [
            exchange_json(&exchange::exchange(&protocol, op, size, &[link], 0)),
            sizes_json(&exchange::sizes(&[(protocol, link)], op)),
            report_json(&report),
            report_json(&sample_mends()),
            several_json(
                &crate::render::several::scenario_rows(std::slice::from_ref(&report)),
                &[],
            ),
            review_json(&report.review),
            paths_json(&sheets),
            headroom_json(&sample_headroom()),
            comparison_json(&sample_comparison()),
            derived_json(&derived),
            measured_json(&measured),
            growth_json(&crate::render::sample::sample_growth()),
            windows_json(&report.origin, &crate::render::sample::sample_windows()),
        ] {
            keys(&serde_json::from_str(&text).unwrap(), &mut found);
            // A reader would keep the last of two.
            assert_eq!(text.matches("\n  \"kind\": ").count(), 1, "{text}");
        }
        let source = include_str!("json.rs");
        let docs: String = source.lines().filter(|l| l.starts_with("//!")).collect();
        assert!(found.len() > 150, "{}", found.len());
        for key in found {
            let known = docs.contains(&format!("`{key}`"))
                || ["value", "low", "high", "quantile"].contains(&key.as_str());
            assert!(known, "{key} is not documented");
        }
    }

    #[test]
    fn begins_with_the_contract() {
        let text = report_json(&sample_report());
        let value: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(value["format"], 1);
        assert_eq!(value["program"], "halfloom");
        assert_eq!(value["estimate"], true);
        assert_eq!(value["kind"], "report");
        assert_eq!(value["origin"]["seed"], 7);
        assert!(
            text.trim_start_matches(['{', '\n', ' '])
                .starts_with("\"format\": 1")
        );
    }

    #[test]
    fn what_is_not_finite_is_null() {
        let mut report = sample_report();
        report.steady[0].directions[0].wait_mean_us = f64::NAN;
        report.growth[0].factor = f64::INFINITY;
        let text = report_json(&report);
        let value: Value = serde_json::from_str(&text).unwrap();
        assert!(value["steady"][0]["directions"][0]["wait_mean_us"].is_null());
        assert!(value["growth"][0]["factor"].is_null());
        assert!(!text.contains("NaN") && !text.contains("inf"));
    }
}
