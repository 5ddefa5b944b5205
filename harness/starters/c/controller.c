/* A charge controller to start from. It is attached as lib:./libcontroller.so: see README.md.
 *
 * It counts charge, waits in bulk for the entry voltage, and goes to absorption. There it stays:
 * the hold, the full reset, float and protection are yours to write, where TODO stands.
 * The page "Rules" of the documentation says what each of them must do.
 *
 * For a test bench. Nothing here is safe to connect to a battery. */
#define FULLPROOF_EXPORTS
#include "fullproof.h"

#include <stdbool.h>
#include <stddef.h>

static fullproof_settings set;

/* What is lost with the power, apart from soc, which is stored. */
static struct {
    uint8_t stage;
    bool heard;              /* a valid sample has come */
    uint32_t last_ms;        /* stamp and current of the last valid one */
    fullproof_real last_a;
    bool above;              /* the entry voltage stands */
    uint32_t above_since_ms; /* since then */
} now;
static double soc;

const fullproof_description *fullproof_describe(void) {
    static const fullproof_description me = {
        /* Claim a feature when it is written: what is not claimed is not judged. */
        FULLPROOF_CLAIMS_SOC | FULLPROOF_CLAIMS_FULL_RESET | FULLPROOF_CLAIMS_REQUESTS |
            FULLPROOF_CLAIMS_POWER_CYCLE,
        FULLPROOF_GIVES_ALL,
        "my controller",
        "0.1",
        "C",
        NULL, /* or the settings that it was built with */
    };
    return &me;
}

void fullproof_power_cycle(void) {
    now.stage = FULLPROOF_BULK;
    now.heard = false;
    now.above = false;
}

const char *fullproof_start(const fullproof_settings *settings, double starting_soc) {
    set = *settings;
    soc = starting_soc;
    fullproof_power_cycle();
    return NULL; /* or why these settings are refused */
}

/* Differences of 32-bit stamps are right across the wrap of the counter; sums and comparisons of
 * stamps are not. */
static uint32_t since(uint32_t then_ms, uint32_t now_ms) { return now_ms - then_ms; }

static uint32_t in_ms(fullproof_real seconds) { return (uint32_t)(1000 * seconds + (fullproof_real)0.5); }

static bool believable(const fullproof_sample *s) {
    const uint32_t needed = FULLPROOF_VALID_TIME | FULLPROOF_VALID_V | FULLPROOF_VALID_I;
    return (s->valid & needed) == needed && s->v >= set.plausible_v[0] && s->v <= set.plausible_v[1] &&
           s->i >= set.plausible_i[0] && s->i <= set.plausible_i[1];
}

static void count(fullproof_real ampere, double hours) {
    double before = soc, change = ampere * hours / set.capacity_ah;
    double top = before > set.soc_ceiling ? before : set.soc_ceiling;
    if (change > 0) change *= set.charge_efficiency;
    soc = before + change;
    if (soc > top) soc = top;
    if (soc < 0) soc = 0;
}

static void decide(const fullproof_sample *s, bool continuous) {
    /* TODO: protection comes first: trips, then release. */
    switch (now.stage) {
    case FULLPROOF_BULK:
        if (s->v < set.entry_v) now.above = false;
        else if (!now.above || !continuous) {
            now.above = true;
            now.above_since_ms = s->time_ms;
        }
        if (now.above && since(now.above_since_ms, s->time_ms) >= in_ms(set.entry_dwell_s))
            now.stage = FULLPROOF_ABSORPTION;
        break;
    case FULLPROOF_ABSORPTION:
        /* TODO: the hold timer, the confirmation, and at its end the full reset. */
        break;
    case FULLPROOF_FLOAT:
        /* TODO: what leads back to bulk. */
        break;
    }
}

void fullproof_step(const fullproof_sample *sample, fullproof_output *output) {
    if (believable(sample)) {
        uint32_t step_ms = now.heard ? since(now.last_ms, sample->time_ms) : 0;
        bool continuous = now.heard && step_ms <= in_ms(set.max_gap_s);
        if (continuous) count((now.last_a + sample->i) / 2, step_ms / 3600000.0);
        decide(sample, continuous);
        now.heard = true;
        now.last_ms = sample->time_ms;
        now.last_a = sample->i;
    }
    output->stage = now.stage;
    output->soc = (fullproof_real)soc;
    output->full_reset = 0; /* TODO: 1 on the sample of the full reset */
    output->voltage_request_v =
        now.stage == FULLPROOF_BULK || now.stage == FULLPROOF_ABSORPTION ? set.absorption_v : set.float_v;
    output->current_request_a = now.stage == FULLPROOF_INHIBITED ? 0 : set.charge_current_a;
}
