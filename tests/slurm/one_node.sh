#!/bin/sh
# Slurm on this machine alone, for as long as one command runs. As root, with slurm-wlm and munge installed (Debian).
#
#   tests/slurm/one_node.sh COMMAND...        its exit code is that of the command
#   tests/slurm/one_node.sh --can             nothing is started; says why it cannot run here, exit code 77, or nothing
#
# One node, one partition, no accounting. Key, configuration, state and logs lie in one temporary folder; nothing of a
# Slurm or munge that the machine may have is read, written or stopped. KEEP=yes keeps the folder.
set -eu
PATH=$PATH:/usr/sbin:/sbin

cannot() {
    echo "no Slurm here: $*"
    exit 77
}
[ "$(id -u)" = 0 ] || cannot "only root can start slurmd"
for program in munged slurmctld slurmd sinfo sbatch srun scancel; do
    command -v "$program" >/dev/null || cannot "$program is not installed (Debian: slurm-wlm, munge)"
done
[ "${1:-}" != --can ] || exit 0
[ $# -gt 0 ] || { echo "usage: $0 COMMAND..." >&2; exit 2; }

at=$(mktemp -d)
chmod 755 "$at"
stop() {
    for name in slurmd slurmctld munged; do
        [ -s "$at/$name.pid" ] || continue
        pid=$(cat "$at/$name.pid")
        kill "$pid" 2>/dev/null || continue
        for _ in 1 2 3 4 5 6 7 8 9 10; do
            kill -0 "$pid" 2>/dev/null || continue 2
            sleep 0.5
        done
        kill -9 "$pid" 2>/dev/null || :
    done
    [ "${KEEP:-}" = yes ] && echo "kept: $at" >&2 || rm -rf "$at"
}
trap stop EXIT
trap 'exit 130' INT TERM HUP

free_ports() {
    python3 - <<'PYTHON'
import socket
sockets = [socket.create_server(("127.0.0.1", 0)) for _ in range(2)]
print(*[made.getsockname()[1] for made in sockets])
PYTHON
}
ports=$(free_ports)
mkdir -m 700 "$at/key"
mkdir "$at/state" "$at/spool"
head -c 128 /dev/urandom >"$at/key/munge.key"
chmod 400 "$at/key/munge.key"
# munged looks at the rights of every folder above its files, and /tmp is open to all: --force lets it warn.
munged --force --key-file="$at/key/munge.key" --socket="$at/munge.socket" --pid-file="$at/munged.pid" \
    --log-file="$at/munged.log" --seed-file="$at/munged.seed" 2>"$at/munged.said" || { cat "$at/munged.said" >&2; exit 1; }

# Snakemake's job steps take SLURM_CONF out of their environment before they call srun, which still must find this Slurm.
real=$(command -v srun)
mkdir "$at/bin"
printf '#!/bin/sh\nSLURM_CONF="%s/slurm.conf" exec "%s" "$@"\n' "$at" "$real" >"$at/bin/srun"
chmod 755 "$at/bin/srun"
PATH=$at/bin:$PATH
export PATH
host=$(hostname -s)
cores=$(nproc)
cat >"$at/slurm.conf" <<CONF
ClusterName=alone
SlurmctldHost=$host(127.0.0.1)
SlurmctldPort=${ports% *}
SlurmdPort=${ports#* }
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
AuthInfo=socket=$at/munge.socket
CredType=cred/munge
StateSaveLocation=$at/state
SlurmdSpoolDir=$at/spool
SlurmctldPidFile=$at/slurmctld.pid
SlurmdPidFile=$at/slurmd.pid
SlurmctldLogFile=$at/slurmctld.log
SlurmdLogFile=$at/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SwitchType=switch/none
MpiDefault=none
ReturnToService=2
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
SchedulerParameters=sched_interval=2,defer_batch=0
AccountingStorageType=accounting_storage/none
JobAcctGatherType=jobacct_gather/none
MinJobAge=600
NodeName=$host NodeAddr=127.0.0.1 CPUs=$cores RealMemory=4000 State=UNKNOWN
PartitionName=all Nodes=$host Default=YES MaxTime=INFINITE State=UP
CONF
export SLURM_CONF="$at/slurm.conf"
slurmctld -f "$SLURM_CONF" && slurmd -f "$SLURM_CONF" -N "$host" || {
    tail -n 20 "$at"/*.log >&2
    exit 1
}
tries=0
until [ "$(sinfo -h -o %t 2>/dev/null)" = idle ]; do
    tries=$((tries + 1))
    [ "$tries" -lt 60 ] || { sinfo >&2 || :; tail -n 20 "$at"/*.log >&2; exit 1; }
    sleep 0.5
done
code=0
"$@" || code=$?
scancel --user=root 2>/dev/null || :
exit "$code"
