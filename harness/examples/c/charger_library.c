/* The example charger as a library: fullproof.h on one side, charger.c beside it on the other.
 *
 *   cc -std=c11 -O2 -shared -fPIC -I HEADER -o libcharger.so charger_library.c -lm
 *
 * where HEADER is the folder of fullproof.h. It shows how a charger that stands already is attached:
 * settings, samples and messages are copied over, and what it decides is copied back. */
#define main example_program /* its own line protocol is not needed here */
#include "charger.c"
#undef main

#define FULLPROOF_CHARGER_EXPORTS
#include "fullproof.h"

static int64_t elapsed_ms; /* the counter of milliseconds without its wraps */
static uint32_t counter_ms;
static bool counting;

const fullproof_charger_description *fullproof_charger_describe(void) {
    static const fullproof_charger_description me = {
        .name = "example-charger-library",
        .version = "1.0",
        .language = "C",
    };
    return &me;
}

const char *fullproof_charger_start(const fullproof_charger_settings *s) {
    ChargerSettings set;
    if (s->packs > MOST_PACKS) return "packs must be 1 to 16";
    set.packs = (int)s->packs;
#define COPY(name) set.name = s->name;
    NUMBERS(COPY)
    set.lowest_plausible_v = s->plausible_v[0], set.highest_plausible_v = s->plausible_v[1];
    charger_init(&charger, &set);
    counting = false;
    elapsed_ms = 0;
    return NULL;
}

void fullproof_charger_step(const fullproof_charger_sample *sample, const fullproof_message *messages,
                            fullproof_charger_output *output) {
    ChargerSample in = {.t = NAN, .own_v = sample->own_v, .own_a = sample->own_a};
    if (sample->valid & FULLPROOF_CHARGER_VALID_TIME) {
        /* The difference is right across a wrap, and negative where the clock was set back. */
        if (counting) elapsed_ms += (int32_t)(sample->time_ms - counter_ms);
        counter_ms = sample->time_ms;
        counting = true;
        in.t = (double)elapsed_ms / 1000;
    }
    for (int p = 0; p < charger.set.packs; p++)
        in.said[p] = (Message){messages[p].request_v, messages[p].request_a, messages[p].pack_v,
                               messages[p].pack_a, messages[p].age_s};
    ChargerOutput out = charger_step(&charger, &in);
    output->set_point_v = (fullproof_real)out.set_point_v;
    output->limit_a = (fullproof_real)out.limit_a;
    output->state = (uint8_t)out.state;
}

void fullproof_charger_power_cycle(void) { charger_power_cycle(&charger); }
