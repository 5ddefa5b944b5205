/* The example controller as a library: fullproof.h on one side, controller.c beside it on the other.
 *
 *   cc -std=c11 -O2 -shared -fPIC -I HEADER -o libexample.so library.c -lm
 *
 * where HEADER is the folder of fullproof.h. It shows how a controller that stands already is
 * attached: settings and samples are copied over, and what it decides is copied back. */
#define main example_program /* its own line protocol is not needed here */
#include "controller.c"
#undef main

#define FULLPROOF_EXPORTS
#include "fullproof.h"

static int64_t elapsed_ms; /* the counter of milliseconds without its wraps */
static uint32_t counter_ms;
static bool counting;

const fullproof_description *fullproof_describe(void) {
    static const fullproof_description me = {
        .features = FULLPROOF_CLAIMS_ALL,
        .outputs = FULLPROOF_GIVES_ALL,
        .name = "example-library",
        .version = "1.0",
        .language = "C",
    };
    return &me;
}

const char *fullproof_start(const fullproof_settings *s, double soc) {
#define COPY(name) set.name = s->name;
    REQUIRED(COPY) MAY_BE_NONE(COPY) /* a setting that is none is NaN on both sides */
    if (isnan(set.sag_v)) set.sag_v = set.entry_v;
    set.lowest_v = s->plausible_v[0], set.highest_v = s->plausible_v[1];
    set.lowest_a = s->plausible_i[0], set.highest_a = s->plausible_i[1];
    set.sag_pauses = s->on_sag == FULLPROOF_SAG_PAUSE;
    set.sag_restarts = s->on_sag == FULLPROOF_SAG_RESTART;
    set.unconfirmed_waits = s->on_unconfirmed == FULLPROOF_UNCONFIRMED_WAIT;
    set.unconfirmed_to_bulk = s->on_unconfirmed == FULLPROOF_UNCONFIRMED_BULK;
    power_up(soc);
    counting = false;
    elapsed_ms = 0;
    return NULL;
}

void fullproof_step(const fullproof_sample *sample, fullproof_output *output) {
    in.t = NAN;
    if (sample->valid & FULLPROOF_VALID_TIME) {
        /* The difference is right across a wrap, and negative where the clock was set back. */
        if (counting) elapsed_ms += (int32_t)(sample->time_ms - counter_ms);
        counter_ms = sample->time_ms;
        counting = true;
        in.t = (double)elapsed_ms / 1000;
    }
    in.v = sample->v;
    in.i = sample->i;
    in.cell_max_v = sample->cell_max_v;
    in.temp_c = sample->temp_c;
    in.temp_max_c = isnan(sample->temp_max_c) ? sample->temp_c : sample->temp_max_c;
    step();
    output->stage = (uint8_t)now.stage;
    output->soc = (fullproof_real)now.soc;
    output->full_reset = now.full_reset;
    output->voltage_request_v = (fullproof_real)asked_v();
    output->current_request_a = (fullproof_real)(now.stage == INHIBITED ? 0 : set.charge_current_a);
}

void fullproof_power_cycle(void) { power_up(now.soc); }

void fullproof_equalise(void) { now.requested = true; }
