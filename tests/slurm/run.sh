#!/usr/bin/env bash
# A shoot list as a real job array: installs Slurm on this one machine, has the list rendered by an array of
# five jobs, merges it, and compares every picture with a single run's, byte by byte. Needs root, as in a
# throw-away machine; everything it starts it stops again. Ends with 75 where Slurm cannot be installed or
# started here, which says nothing of the list.
#   tests/slurm/run.sh [PROGRAM]      default: target/release/swatchlight
set -euo pipefail
cd "$(dirname "$0")/../.."
program=$(realpath "${1:-target/release/swatchlight}")
began=$SECONDS

if ! command -v slurmctld >/dev/null; then
    { apt-get update -qq &&
        DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends slurm-wlm munge >/dev/null; } ||
        { echo "Slurm cannot be installed here"; exit 75; }
fi
echo "installed: $((SECONDS - began)) s"

work=$(mktemp -d)
stop() {
    for daemon in d ctld; do
        [ -s "$work/$daemon.pid" ] && kill "$(cat "$work/$daemon.pid")" 2>/dev/null || true
    done
    [ -n "${munge:-}" ] && kill "$munge" 2>/dev/null || true
    # They write while they end.
    rm -rf "$work" 2>/dev/null || { sleep 2 && rm -rf "$work"; } || true
}
trap stop EXIT
host=$(hostname -s)
mkdir -p "$work/state" "$work/spool" /etc/slurm /run/munge
[ -e /etc/slurm/slurm.conf ] && cp /etc/slurm/slurm.conf "$work/slurm.conf.before"
cat >"$work/slurm.conf" <<CONF
ClusterName=local
SlurmctldHost=$host(127.0.0.1)
SlurmUser=root
AuthType=auth/munge
StateSaveLocation=$work/state
SlurmdSpoolDir=$work/spool
SlurmctldLogFile=$work/ctld.log
SlurmdLogFile=$work/d.log
SlurmctldPidFile=$work/ctld.pid
SlurmdPidFile=$work/d.pid
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
ReturnToService=2
SwitchType=switch/none
MpiDefault=none
JobAcctGatherType=jobacct_gather/none
NodeName=$host NodeAddr=127.0.0.1 CPUs=$(nproc) State=UNKNOWN
PartitionName=p Nodes=ALL Default=YES MaxTime=INFINITE State=UP
CONF
export SLURM_CONF="$work/slurm.conf"
chown -R munge: /run/munge /etc/munge /var/log/munge /var/lib/munge
if ! munge -n </dev/null >/dev/null 2>&1; then
    su -s /bin/sh munge -c 'munged --force' || { echo "munge does not start here"; exit 75; }
    munge=$(cat /run/munge/munged.pid)
fi
{ slurmctld && slurmd; } || { echo "Slurm does not start here"; exit 75; }
for _ in $(seq 60); do
    sinfo -h -o %T 2>/dev/null | grep -q idle && break
    sleep 0.5
done
sinfo -h -o %T | grep -q idle || { echo "Slurm does not get ready here"; cat "$work"/*.log; exit 75; }
echo "slurm is ready: $((SECONDS - began)) s"

# Invented: the cloth of tests/common/day.rs.
python3 - tests/common/day.rs "$work" <<'PY' 2>/dev/null || sed -n '/SETUP: .*r#"/,/^"#;/{s/.*r#"//;/^"#;/d;p}' tests/common/day.rs >"$work/cloth.toml"
import re, sys
text = open(sys.argv[1]).read()
for name, file in (("SETUP", "cloth.toml"), ("LIST", "day.toml")):
    body = re.search(name + r': &str = r#"(.*?)"#;', text, re.S).group(1)
    open(f"{sys.argv[2]}/{file}", "w").write(body)
PY
[ -e "$work/day.toml" ] || sed -n '/LIST: .*r#"/,/^"#;/{s/.*r#"//;/^"#;/d;p}' tests/common/day.rs >"$work/day.toml"
models=$PWD/models
cd "$work"
ln -s "$models" models
export SWATCHLIGHT="$program" XDG_CACHE_HOME="$work/cache"
"$program" batch day.toml --jobs slurm --parts 5 --split samples --samples 22 --executor cpu --threads 1 \
    --into many --no-cloth --out job.sh
timeout 300 sbatch --wait --output="$work/job-%a.txt" job.sh || {
    compgen -G "$work/job-*.txt" >/dev/null || { echo "Slurm begins no job here"; cat "$work"/*.log; exit 75; }
    cat "$work"/job-*.txt "$work"/d.log
    exit 1
}
echo "array of five done: $((SECONDS - began)) s"
"$program" merge many --quiet >/dev/null
"$program" batch day.toml --samples 22 --executor cpu --no-cloth --out single --quiet >/dev/null
ls many/films | sed 's/^/film part: /'
for picture in single/pictures/*.png; do
    cmp "$picture" "many/pictures/$(basename "$picture")"
done
echo "the job array's pictures are the single run's, to the byte: $((SECONDS - began)) s in all"
