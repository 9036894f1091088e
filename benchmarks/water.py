"""How fast, and how right, is the model of a practice's water? Against full sampling (NUTS) on the same results in the same run.

    python benchmarks/water.py nuts [CHAIRS] [YEARS]   one practice: time and difference of every answer; cold and warm sampling
    python benchmarks/water.py group [CHAIRS]          many practices in one process, time a chair; NUTS on one of them
    python benchmarks/water.py calibration [N]         N practices drawn from the prior: are ranks uniform, do 90 % ranges hold 90 %?
    python benchmarks/water.py priors                  how far the priors decide for a chair with few samples

All practices are invented, seeds stated. Times are of the processor, BLAS on one thread; sampling uses what threads it likes.
"""

import math
import os
import sys
import time
from dataclasses import replace
from typing import Any

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np  # noqa: E402 - BLAS reads its threads when it is loaded
from scipy.special import chdtrc  # noqa: E402

from fettlebook.science.trends import PRIORS, Sample, fit_practice, regrowth_x  # noqa: E402
from machine import machine  # noqa: E402

SEED = 20261127
LIMIT = 500.0
DAYS = 14.0


def drawn(rng: np.random.Generator, chairs: int, most: int) -> tuple[list[Sample], list[str], np.ndarray[Any, Any]]:
    """Return a practice drawn from the prior: samples, chairs, and each chair's true level after `DAYS`."""
    mu, beta = rng.normal(*PRIORS.mu), rng.normal(*PRIORS.beta)
    sa, sb = abs(rng.normal(0, PRIORS.sd_level)), abs(rng.normal(0, PRIORS.sd_rise))
    s = math.exp(rng.normal(*PRIORS.log_sd_sample))
    a, b = rng.normal(mu, sa, chairs), rng.normal(beta, sb, chairs)
    samples = []
    for i in range(chairs):
        for _ in range(rng.integers(0, most + 1)):
            days = float(rng.integers(0, 29))
            volume = float(rng.choice([0.01, 0.1, 1.0]))
            seen = int(rng.poisson(min(1e9, volume * 10.0 ** (a[i] + b[i] * float(regrowth_x(days)) + rng.normal(0, s)))))
            if seen > 300:
                samples.append(Sample(f"C{i}", days, "above", 300, volume))
            elif rng.random() < 0.05 and seen <= 24:
                samples.append(Sample(f"C{i}", days, "below", 24, volume))
            else:
                samples.append(Sample(f"C{i}", days, "count", seen, volume))
    return samples, [f"C{i}" for i in range(chairs)], a + b * float(regrowth_x(DAYS))


def nuts(chairs: int, years: int) -> None:
    """Compare with NUTS: explicit scatter of each sample, exact Poisson tails, 4 chains of 500 + 1,000."""
    print(machine("numpy", "scipy", "jax", "numpyro"))
    samples, names, _ = drawn(np.random.default_rng(SEED), chairs, 8 * years)
    start = time.process_time()
    fit_practice(samples, names)
    first = time.process_time() - start
    start = time.process_time()
    ours = fit_practice(samples, names)
    again = time.process_time() - start
    print(f"{chairs} chairs, {len(samples)} results, {ours.effective:.0f} effective points of 512")
    print(f"ours: {first:.2f} s first (kernels made), {again:.2f} s after")
    sampler = Nuts(samples, names)
    cold_cpu, cold_wall, _ = sampler.run(1)
    warm_cpu, warm_wall, draws = sampler.run(2)
    print(f"NUTS cold: {cold_cpu:.1f} s of processor ({cold_wall:.1f} s by the clock): {cold_cpu / first:.0f} times ours")
    print(f"NUTS warm: {warm_cpu:.1f} s of processor ({warm_wall:.1f} s by the clock), compiled before: {warm_cpu / again:.0f} times ours")
    level = draws["a"] + draws["b"] * float(regrowth_x(DAYS))
    rows = []
    for i, chair in enumerate(names):
        mean, sd = ours.of(chair).level(DAYS)
        theirs = level[:, i]
        q = ours.of(chair).quantiles(DAYS, (0.05, 0.95)) - np.quantile(theirs, (0.05, 0.95))
        p = ours.of(chair).p_above(LIMIT, DAYS) - (theirs > math.log10(LIMIT)).mean()
        rows.append((abs(p), abs(mean - theirs.mean()) / theirs.std(), abs(sd / theirs.std() - 1), float(np.abs(q).max()) / theirs.std()))
    table = np.array(rows)
    for name, column in zip(("P(over limit)", "mean, in SD", "SD, relative", "5 and 95 %, in SD"), table.T, strict=True):
        print(f"  {name:<20} greatest difference {column.max():.4f}, mean {column.mean():.4f}")
    error = sampler.error_of_p(level)
    print(f"  NUTS's own standard error of P: up to {error:.4f}")


class Nuts:
    """The same model, sampled."""

    def __init__(self, samples: list[Sample], names: list[str]) -> None:
        import jax

        jax.config.update("jax_enable_x64", True)  # type: ignore[no-untyped-call]
        import jax.numpy as jnp
        import numpyro
        import numpyro.distributions as dist
        from jax.scipy.special import gammainc, gammaincc
        from numpyro.infer import MCMC, NUTS

        place = {name: i for i, name in enumerate(names)}
        of = jnp.array([place[s.chair] for s in samples])
        x = jnp.array(regrowth_x([s.days_since_intensive for s in samples]))
        volume = jnp.array([s.volume_ml for s in samples])
        colonies = jnp.array([float(s.colonies) for s in samples])
        kind = np.array([s.kind for s in samples])

        def model() -> None:
            mu, beta = numpyro.sample("mu", dist.Normal(*PRIORS.mu)), numpyro.sample("beta", dist.Normal(*PRIORS.beta))
            sa = numpyro.sample("sa", dist.HalfNormal(PRIORS.sd_level))
            sb = numpyro.sample("sb", dist.HalfNormal(PRIORS.sd_rise))
            s = jnp.exp(numpyro.sample("log_s", dist.Normal(*PRIORS.log_sd_sample)))
            za = numpyro.sample("za", dist.Normal(0, 1).expand([len(names)]))
            zb = numpyro.sample("zb", dist.Normal(0, 1).expand([len(names)]))
            e = numpyro.sample("e", dist.Normal(0, 1).expand([len(samples)]))
            a = numpyro.deterministic("a", mu + sa * za)
            b = numpyro.deterministic("b", beta + sb * zb)
            mean = volume * 10.0 ** (a[of] + b[of] * x + s * e)
            counted, below, above = (jnp.array(np.flatnonzero(kind == k)) for k in ("count", "below", "above"))
            numpyro.factor("counted", dist.Poisson(mean[counted]).log_prob(colonies[counted]).sum())
            numpyro.factor("below", jnp.log(jnp.maximum(gammaincc(colonies[below] + 1, mean[below]), 1e-300)).sum())
            numpyro.factor("above", jnp.log(jnp.maximum(gammainc(colonies[above], mean[above]), 1e-300)).sum())

        self._chains = MCMC(
            NUTS(model, target_accept_prob=0.95),
            num_warmup=500,
            num_samples=1000,
            num_chains=4,
            chain_method="sequential",
            progress_bar=False,
        )
        self._key = jax.random.PRNGKey

    def run(self, seed: int) -> tuple[float, float, dict[str, np.ndarray[Any, Any]]]:
        """Return processor time, time by the clock, draws."""
        cpu, wall = time.process_time(), time.perf_counter()
        self._chains.run(self._key(seed))
        draws = {name: np.asarray(values) for name, values in self._chains.get_samples().items()}
        return time.process_time() - cpu, time.perf_counter() - wall, draws

    def error_of_p(self, level: np.ndarray[Any, Any]) -> float:
        """Return the greatest standard error of P among the chairs, from the chains' effective sizes."""
        from numpyro.diagnostics import effective_sample_size

        over = (level > math.log10(LIMIT)).astype(float).reshape(4, -1, level.shape[1])
        p = over.mean(axis=(0, 1))
        with np.errstate(invalid="ignore", divide="ignore"):
            size = effective_sample_size(over)
            return float(np.nanmax(np.sqrt(p * (1 - p) / size)))


def group(chairs: int) -> None:
    """Fit many practices of 12 chairs and a year and a half of samples one after another in this process; then NUTS on one of them."""
    print(machine("numpy", "scipy", "jax", "numpyro"))
    rng = np.random.default_rng(SEED)
    practices = [drawn(rng, 12, 12) for _ in range(-(-chairs // 12))]
    fit_practice(*practices[0][:2])
    start = time.process_time()
    few = 0
    for samples, names, _ in practices:
        trend = fit_practice(samples, names)
        few += trend.effective < 50
        for name in names:
            chair = trend.of(name)
            chair.quantiles(DAYS)
            chair.p_above(LIMIT, DAYS)
            chair.days_until(LIMIT, DAYS)
    spent = time.process_time() - start
    total = 12 * len(practices)
    print(
        f"{total} chairs in {len(practices)} practices, {sum(len(p[0]) for p in practices)} results: "
        f"{spent:.1f} s, {1e3 * spent / total:.2f} ms a chair"
    )
    print(f"answers withheld for too few effective points: {few} of {len(practices)} practices")
    one = min(practices, key=lambda p: abs(len(p[0]) - 72))  # as many results as a practice has on average
    theirs, wall, _ = Nuts(one[0], one[1]).run(1)
    print(
        f"NUTS, cold, one of these practices ({len(one[0])} results): {theirs:.1f} s of processor ({wall:.1f} s by the clock), "
        f"{theirs / 12:.2f} s a chair: {theirs / 12 / (spent / total):.0f} times ours"
    )


def calibration(count: int) -> None:
    """Draw practices from the prior and look where the truth lies (Talts et al. 2018): ranks must be uniform."""
    print(machine("numpy", "scipy"))
    rng = np.random.default_rng(SEED + 1)
    ranks, inside50, inside90, withheld, alarmed = [], 0, 0, 0, []
    for _ in range(count):
        samples, names, truth = drawn(rng, 6, 8)
        trend = fit_practice(samples, names)
        if trend.effective < 50:
            withheld += 1
            continue
        for i, name in enumerate(names):
            chair = trend.of(name)
            rank = chair.share_below(float(truth[i]), DAYS)
            ranks.append(rank)
            inside50 += 0.25 <= rank <= 0.75
            inside90 += 0.05 <= rank <= 0.95
            p = chair.p_above(LIMIT, DAYS)
            if 0.05 <= p <= 0.2:
                alarmed.append((p, truth[i] > math.log10(LIMIT)))
    bins = np.histogram(ranks, bins=10, range=(0, 1))[0]
    expected = len(ranks) / 10
    chi2 = float(((bins - expected) ** 2 / expected).sum())
    print(f"{count} practices of 6 chairs, {len(ranks)} ranks in ten bins: {' '.join(map(str, bins))}")
    print(f"chi-square {chi2:.1f} on 9: as uneven by chance in {chdtrc(9, chi2):.2f} of cases (chairs of one practice hang together)")
    print(
        f"50 % ranges hold {100 * inside50 / len(ranks):.1f} %, 90 % ranges hold {100 * inside90 / len(ranks):.1f} %; "
        f"withheld: {withheld} practices"
    )
    said, over = np.array(alarmed).T
    print(
        f"where P was said to be 0.05 to 0.20 (mean {said.mean():.3f}, {said.size} chairs) the chair was over in {100 * over.mean():.1f} %"
    )


def priors() -> None:
    """Print P(over) of a chair with 0 to 3 samples under other priors."""
    print(machine("numpy", "scipy"))
    others = [Sample(f"B{i}", 14, "count", c, 1.0) for i, cs in enumerate([(20, 60, 45), (10, 5, 22), (150, 90, 300)]) for c in cs]
    settings = {
        "as shipped": PRIORS,
        "mu one lower": replace(PRIORS, mu=(1.0, 1.0)),
        "mu one higher": replace(PRIORS, mu=(3.0, 1.0)),
        "chairs more alike": replace(PRIORS, sd_level=0.3),
        "chairs less alike": replace(PRIORS, sd_level=1.2),
        "samples scatter less": replace(PRIORS, log_sd_sample=(math.log(0.25), 0.4)),
        "samples scatter more": replace(PRIORS, log_sd_sample=(math.log(0.6), 0.4)),
    }
    print(f"{'P(level > 500) of a chair with':<32}" + "".join(f"{n:>9} x 90" for n in range(4)))
    for name, setting in settings.items():
        row = []
        for n in range(4):
            samples = [*others, *(Sample("A", 14, "count", 9, 0.1) for _ in range(n))]
            row.append(fit_practice(samples, ["A", "B0", "B1", "B2"], setting).of("A").p_above(LIMIT, DAYS))
        print(f"{name:<32}" + "".join(f"{p:>14.3f}" for p in row))


if __name__ == "__main__":
    what, *numbers = [*sys.argv[1:], ""][: len(sys.argv) - 1] or ["nuts"]
    values = [int(n) for n in numbers]
    if what == "nuts":
        nuts(*[*values, *(12, 5)[len(values) :]])
    elif what == "group":
        group(*(values or [5000]))
    elif what == "calibration":
        calibration(*(values or [500]))
    elif what == "priors":
        priors()
    else:
        sys.exit("nuts, group, calibration or priors")
