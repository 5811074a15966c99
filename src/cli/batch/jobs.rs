//! Job files: a list's parts as an array job of Slurm or an indexed job of Kubernetes.

use clap::ValueEnum;

/// An engine that starts many of one job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Engine {
    /// An array job, for sbatch
    Slurm,
    /// An indexed job, for kubectl apply
    Kubernetes,
}

/// What a job file is of.
#[derive(Debug, Clone)]
pub struct Jobs<'a> {
    /// How the parts find the list.
    pub list: &'a str,
    /// The folder that all write to.
    pub folder: &'a str,
    /// How many.
    pub parts: u32,
    /// Options that hold for every part.
    pub options: &'a [String],
    /// What the day is called, as far as names of jobs take it.
    pub name: &'a str,
}

impl Jobs<'_> {
    /// The text of the file.
    pub fn text(&self, engine: Engine) -> String {
        match engine {
            Engine::Slurm => self.slurm(),
            Engine::Kubernetes => self.kubernetes(),
        }
    }

    /// The command's words. How many parts there are is in the file, so that a part that is started
    /// again alone still knows.
    fn words(&self) -> Vec<String> {
        let part = format!("env/{}", self.parts);
        [
            "batch",
            self.list,
            "--out",
            self.folder,
            "--part",
            &part,
            "--quiet",
        ]
        .into_iter()
        .map(str::to_owned)
        .chain(self.options.iter().cloned())
        .collect()
    }

    fn slurm(&self) -> String {
        let words: Vec<String> = self.words().iter().map(|w| for_shell(w)).collect();
        let (parts, name, folder) = (self.parts, job_name(self.name), for_shell(self.folder));
        format!(
            "\
#!/bin/sh
# {parts} parts of a shoot list. All machines must see the list, the models and the folder at the same
# paths. Start it, and put the parts together when all are done:
#   sbatch --wait THIS_FILE && swatchlight merge {folder}
# A part that failed can be started again; what it had finished is not rendered twice.
#SBATCH --job-name={name}
#SBATCH --array=1-{parts}
#SBATCH --nodes=1
#SBATCH --ntasks=1
# Cores of each part, and what your site wants besides:
##SBATCH --cpus-per-task=8
##SBATCH --time=02:00:00
set -eu
# SWATCHLIGHT may name the program where it is not on the PATH.
exec \"${{SWATCHLIGHT:-swatchlight}}\" {}
",
            words.join(" ")
        )
    }

    fn kubernetes(&self) -> String {
        let words: Vec<String> = self.words().iter().map(|w| for_yaml(w)).collect();
        let (parts, name) = (self.parts, job_name(self.name));
        format!(
            "\
# {parts} parts of a shoot list, as an indexed job. Before kubectl apply -f THIS_FILE:
# put your own image and claim where it says so; the claim must hold the list, the models and the folder.
# When the job is complete: swatchlight merge {}
apiVersion: batch/v1
kind: Job
metadata:
  name: {name}
spec:
  completionMode: Indexed
  completions: {parts}
  parallelism: {parts}
  # What a part had finished is not rendered again when it is started anew.
  backoffLimitPerIndex: 3
  maxFailedIndexes: {parts}
  template:
    spec:
      restartPolicy: Never
      containers:
        - name: part
          image: your-registry/swatchlight:{}
          workingDir: /work
          command: [\"swatchlight\"]
          args: [{}]
          volumeMounts:
            - name: work
              mountPath: /work
      volumes:
        - name: work
          persistentVolumeClaim:
            claimName: your-claim
",
            for_shell(self.folder),
            env!("CARGO_PKG_VERSION"),
            words.join(", ")
        )
    }
}

/// A word as a shell takes it. A line break cannot be in one: file names with it are refused before.
fn for_shell(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-+:@%,=".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', r"'\''"))
    }
}

/// A word as YAML takes it, which takes JSON; Kubernetes would put variables in for `$(NAME)`.
fn for_yaml(word: &str) -> String {
    serde_json::Value::from(word.replace("$(", "$$(")).to_string()
}

/// Letters, digits and dashes, beginning with a letter: a DNS label, which both engines take.
fn job_name(name: &str) -> String {
    let mut plain = String::from("swatchlight");
    for c in name.chars().map(|c| c.to_ascii_lowercase()) {
        match c {
            'a'..='z' | '0'..='9' => {
                if plain == "swatchlight" {
                    plain.push('-');
                }
                plain.push(c);
            }
            _ if plain.ends_with('-') || plain == "swatchlight" => {}
            _ => plain.push('-'),
        }
    }
    plain.truncate(50);
    plain.trim_end_matches('-').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_names_stay_names() {
        assert_eq!(
            job_name("Spring day; rm -rf /"),
            "swatchlight-spring-day-rm-rf"
        );
        assert_eq!(job_name("\u{65e5}\n"), "swatchlight");
        assert_eq!(for_shell("a b$(c)'d"), r"'a b$(c)'\''d'");
        let options = ["--samples".to_owned(), "64".to_owned()];
        let jobs = Jobs {
            list: "it's $(HOME).toml",
            folder: "out",
            parts: 7,
            options: &options,
            name: "x",
        };
        let slurm = jobs.text(Engine::Slurm);
        assert!(slurm.contains("#SBATCH --array=1-7\n"), "{slurm}");
        assert!(
            slurm.contains(
                r"batch 'it'\''s $(HOME).toml' --out out --part env/7 --quiet --samples 64"
            ),
            "{slurm}"
        );
        let kubernetes = jobs.text(Engine::Kubernetes);
        assert!(kubernetes.contains("  completions: 7\n"), "{kubernetes}");
        assert!(
            kubernetes.contains(r#""it's $$(HOME).toml""#),
            "{kubernetes}"
        );
    }
}
