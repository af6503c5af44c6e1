//! A full link carries what the account of one I/O says, for every protocol on every link technology.
//!
//! One host, one array, one link between them, no time anywhere but on the wire. A burst of I/Os of 64 KiB
//! arrives at once and is worked off 500 at a time. (With few at a time writes fall into step: the next
//! commands leave behind the last data, and the link rests for a round trip until they are granted.) In the end
//! both directions must have carried exactly as many frames and bytes as that many exchanges have, and have
//! been busy for exactly the time of that many frames, each rounded up to the picosecond. And the payload
//! must have passed at payload ÷ wire bytes of the fuller direction × usable rate, to a thousandth.

use super::rig::{MS, at_times, direction, run, site};
use halfloom::model::{Compiled, DirectionTally};
use halfloom::wire::{Encapsulation, Medium, Op, Plan, Technology, Toward, technologies};

/// I/Os of a run: the first and the last of them stand alone on the link, which must not be seen in 0.1 %.
const IOS: u64 = 2_000;
const SIZE: u32 = 65_536;

/// A site of one link and the work on it.
fn one_link(label: &str, link: &str, work: &str) -> String {
    format!(
        "format = 1\n[[host]]\nname = \"app\"\nqueue_depth = 500\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1000\n\
         read = {{ hit = \"100%\", hit_time = \"0s\" }}\nwrite = {{ time = \"0s\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"{label}\"\nlength = \"0m\"\n{link}\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nadapter = \"0s\"\n{work}\n\
         sizes = \"64KiB\"\narrivals = {{ closed = {{ depth = 1 }} }}\n"
    )
}

/// Frames, bytes and picoseconds of so many exchanges in one direction, pure ACKs included.
fn account(plan: &Plan, toward: Toward, known: &Technology, wrapped: Encapsulation) -> [u64; 3] {
    let mut sum = [0; 3];
    let mut add = |frames: u64, wire: u32| {
        let each = known.usable.serialize(u64::from(wire)).0;
        sum[0] += IOS * frames;
        sum[1] += IOS * frames * u64::from(wire);
        sum[2] += IOS * frames * each;
    };
    for volley in &plan.volleys {
        if volley.toward == toward {
            for run in &volley.runs {
                add(u64::from(run.count), run.wire(wrapped));
            }
        } else {
            add(u64::from(volley.acks()), volley.ack_bytes.unwrap_or(0));
        }
    }
    sum
}

fn check(known: &Technology, link: &str, work: &str, op: Op) {
    let mut site = site(&one_link(known.label, link, work));
    at_times(
        &mut site,
        1,
        &vec![(0, op, SIZE); usize::try_from(IOS).unwrap()],
    );
    let protocol = site.workloads[0].protocol;
    let wrapped = protocol.encapsulation(known.medium).expect("it fits");
    let plan = protocol.plan(op, u64::from(SIZE));
    let accounts = [Toward::Array, Toward::Host].map(|way| account(&plan, way, known, wrapped));
    let compiled = Compiled::new(&site, &[]);
    let longest = accounts[0][2].max(accounts[1][2]);
    let tally = run(&compiled, &[], longest + longest / 100 + MS);
    let what = format!(
        "{} {op:?} on {} as {wrapped:?}",
        protocol.key(),
        known.label
    );
    assert_eq!(tally.workloads[0].completed_total, IOS, "{what}");
    let ways: [&DirectionTally; 2] =
        ["app:A1 > box-c1:A1", "box-c1:A1 > app:A1"].map(|name| direction(&compiled, &tally, name));
    for (way, account) in ways.iter().zip(&accounts) {
        let got = [way.delivered, way.delivered_bytes, way.busy_total];
        assert_eq!(&got, account, "{what}: frames, bytes, picoseconds");
        assert_eq!(way.offered, way.delivered, "{what}: frames offered");
    }
    // Payload per second from the start until the fuller direction rests, over what its bytes leave.
    let fuller = usize::from(accounts[1][1] > accounts[0][1]);
    #[allow(clippy::cast_precision_loss)]
    let ratio = {
        let seconds = ways[fuller].busy_until.0 as f64 / 1e12;
        let payload = (IOS * u64::from(SIZE)) as f64;
        let share = payload / accounts[fuller][1] as f64;
        payload / seconds / (share * known.usable.bits_per_second() / 8.0)
    };
    assert!((ratio - 1.0).abs() < 0.001, "{what}: {ratio}");
}

/// Reads and writes of a protocol on every technology of that medium.
fn on_every(medium: Medium, link: &str, work: &str) {
    let fitting = technologies().iter().filter(|known| known.medium == medium);
    let mut seen = 0;
    for known in fitting {
        check(known, link, work, Op::Read);
        check(known, link, work, Op::Write);
        seen += 1;
    }
    assert_eq!(seen, 9, "1 to 800GbE, 1GFC to 128GFC and 128GFCp");
}

/// FCP-4, FC-FS; FC-BB-5 over Ethernet.
#[test]
fn scsi_over_fibre_channel_fills_every_link() {
    on_every(Medium::FibreChannel, "", "protocol = \"fc-scsi\"");
}

#[test]
fn scsi_over_fcoe_fills_every_link() {
    on_every(
        Medium::Ethernet,
        "carries = \"all\"",
        "protocol = \"fc-scsi\"",
    );
}

/// FC-NVMe.
#[test]
fn nvme_over_fibre_channel_fills_every_link() {
    on_every(Medium::FibreChannel, "", "protocol = \"fc-nvme\"");
}

#[test]
fn nvme_over_fcoe_fills_every_link() {
    on_every(
        Medium::Ethernet,
        "carries = \"all\"",
        "protocol = \"fc-nvme\"",
    );
}

/// RFC 7143.
#[test]
fn iscsi_fills_every_link() {
    on_every(Medium::Ethernet, "", "protocol = \"iscsi\"");
}

/// NVMe/TCP transport.
#[test]
fn nvme_over_tcp_fills_every_link() {
    on_every(Medium::Ethernet, "", "protocol = \"nvme-tcp\"");
}

/// NVMe over Fabrics, RDMA binding; IBTA annex A17.
#[test]
fn nvme_over_rdma_fills_every_link() {
    on_every(Medium::Ethernet, "", "protocol = \"nvme-rdma\"");
}

/// RFC 1813 and RFC 8881.
#[test]
fn nfs_fills_every_link() {
    on_every(Medium::Ethernet, "", "protocol = \"nfs\"");
    on_every(
        Medium::Ethernet,
        "mtu = 9000",
        "protocol = \"nfs\"\nversion = \"v4.1\"",
    );
}

/// Options that change frames: jumbo frames, digests, IPv6, tags, no pure ACKs, short fields.
#[test]
fn options_change_the_account_and_the_link_alike() {
    let ethernet = halfloom::wire::technology("25GbE").expect("in the table");
    let fibre = halfloom::wire::technology("32GFC").expect("in the table");
    for work in [
        "protocol = \"iscsi\"\ndigests = \"both\"\ninitial_r2t = false\nseparate_status = true",
        "protocol = \"nvme-tcp\"\nsuccess = true\nvlan = true\nacks = \"never\"\nin_capsule = \"128KiB\"",
        "protocol = \"nvme-rdma\"\nipv6 = true",
        "protocol = \"nfs\"\ntimestamps = false\ntransfer = \"16KiB\"",
    ] {
        for op in [Op::Read, Op::Write] {
            check(ethernet, "mtu = 9000", work, op);
        }
    }
    for work in [
        "protocol = \"fc-scsi\"\nlong_command = true\ndata_field = 2112",
        "protocol = \"fc-scsi\"\nfirst_burst = \"8KiB\"\nmax_burst = \"16KiB\"",
        "protocol = \"fc-nvme\"\nextended_response = true\ndata_field = 512",
    ] {
        for op in [Op::Read, Op::Write] {
            check(fibre, "", work, op);
        }
    }
}
