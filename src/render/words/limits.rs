//! What the model leaves out, as it is said wherever inputs and assumptions are listed.

/// One sentence each, without a full stop.
pub const NOT_MODELLED: [&str; 9] = [
    "faults of software, power and people; two faults at once, unless an outage of the scenario says so",
    "what happens inside an array: rebuilds, snapshots, full caches",
    "traffic that the scenario does not state",
    "optics that are dirty or worn; frames lost to bit errors",
    "credits of Fibre Channel and pause of Ethernet: queues are unlimited, so that congestion never spreads backwards from a slow \
     port; where a part is asked for nearly all it can do, results are optimistic",
    "congestion control of TCP and RDMA: no sender slows down for a queue on the way",
    "hosts that run out of processor time",
    "changes of the work while a fabric is lost: people and programs that wait ask for less, or again",
    "order within a TCP connection (iSCSI, NVMe/TCP, NFS): a lost segment delays its own message only, until the timer sends it \
     again, and not what follows on that connection; where a whole path is lost that makes no difference",
];
