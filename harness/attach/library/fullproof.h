/* fullproof.h: how a charge controller in C is attached; and how a charger is, which is told at the end.
 *
 * Write four functions and build a shared library of them:
 *
 *   fullproof_describe     who the controller is and what it does
 *   fullproof_start        begin afresh, with these settings and this state of charge
 *   fullproof_step         one sample in, one answer out
 *   fullproof_power_cycle  the power was lost: forget everything but the state of charge
 *
 * In exactly one source file define FULLPROOF_EXPORTS before this header is included. That adds two
 * more: fullproof_run, which calls fullproof_step for many samples, and fullproof_layout, by which
 * the harness sees how the structures were laid out.
 *
 * Define FULLPROOF_SINGLE for the whole build where the controller works in single precision.
 *
 *   cc -std=c99 -O2 -shared -fPIC -o libcontroller.so controller.c -lm
 *
 * Plain C99, and C++. Nothing here needs an operating system or memory from the heap.
 * It is made for a test bench. It does not make a controller safe to connect to a battery. */
#ifndef FULLPROOF_H
#define FULLPROOF_H

#include <stddef.h> /* NULL */
#include <stdint.h>

#define FULLPROOF_LAYOUT 2u

#ifdef FULLPROOF_SINGLE
typedef float fullproof_real;
#else
typedef double fullproof_real;
#endif

#if defined(_WIN32)
#define FULLPROOF_API __declspec(dllexport)
#elif defined(__GNUC__)
#define FULLPROOF_API __attribute__((visibility("default")))
#else
#define FULLPROOF_API
#endif

#ifdef __cplusplus
extern "C" {
#endif

/* Stages, in `stage` of an answer. */
enum {
    FULLPROOF_BULK = 0,
    FULLPROOF_ABSORPTION = 1,
    FULLPROOF_FLOAT = 2,
    FULLPROOF_INHIBITED = 3,
    FULLPROOF_EQUALISATION = 4
};

/* What a sag does to the hold timer, in `on_sag`. */
enum { FULLPROOF_SAG_RUN = 0, FULLPROOF_SAG_PAUSE = 1, FULLPROOF_SAG_RESTART = 2 };

/* What follows a hold that is not confirmed, in `on_unconfirmed`. */
enum {
    FULLPROOF_UNCONFIRMED_FLOAT = 0,
    FULLPROOF_UNCONFIRMED_BULK = 1,
    FULLPROOF_UNCONFIRMED_WAIT = 2
};

/* Which readings a sample has, in `valid`. One that is missing is NaN as well. */
#define FULLPROOF_VALID_TIME 1u
#define FULLPROOF_VALID_V 2u
#define FULLPROOF_VALID_I 4u
#define FULLPROOF_VALID_CELL_MAX_V 8u
#define FULLPROOF_VALID_TEMP_C 16u
#define FULLPROOF_VALID_TEMP_MAX_C 32u

/* Which of the settings that may be none are set, in `has`. One that is none is NaN as well. */
#define FULLPROOF_HAS_SAG_V 1u        /* none: as entry_v */
#define FULLPROOF_HAS_TAPER_A 2u      /* none: the current is not asked */
#define FULLPROOF_HAS_FLOAT_S 4u      /* none: no limit */
#define FULLPROOF_HAS_RETURN_SOC 8u   /* none: off, and so on */
#define FULLPROOF_HAS_EMPTY_V 16u
#define FULLPROOF_HAS_CELL_LIMIT_V 32u
#define FULLPROOF_HAS_CHARGE_MIN_C 64u
#define FULLPROOF_HAS_CHARGE_MAX_C 128u
#define FULLPROOF_HAS_COMPENSATION_MIN_C 256u
#define FULLPROOF_HAS_COMPENSATION_MAX_C 512u
#define FULLPROOF_HAS_SENSOR_LOST_S 1024u
#define FULLPROOF_HAS_SENSOR_FROZEN_S 2048u
#define FULLPROOF_HAS_SENSOR_JUMP_C 4096u
#define FULLPROOF_HAS_EQUALISATION_V 8192u
#define FULLPROOF_HAS_EQUALISATION_EVERY_S 16384u
#define FULLPROOF_HAS_EQUALISATION_MAX_C 32768u

/* What a controller claims, in `features`; only what is claimed is judged. */
#define FULLPROOF_CLAIMS_SOC 0x0001u
#define FULLPROOF_CLAIMS_FULL_RESET 0x0002u
#define FULLPROOF_CLAIMS_REQUESTS 0x0004u
#define FULLPROOF_CLAIMS_FLOAT_TIMER 0x0008u
#define FULLPROOF_CLAIMS_RETURN_VOLTAGE 0x0010u
#define FULLPROOF_CLAIMS_RETURN_SOC 0x0020u
#define FULLPROOF_CLAIMS_SAG_PAUSE 0x0040u
#define FULLPROOF_CLAIMS_SAG_RESTART 0x0080u
#define FULLPROOF_CLAIMS_CONFIRM 0x0100u
#define FULLPROOF_CLAIMS_TAPER 0x0200u
#define FULLPROOF_CLAIMS_WAIT 0x0400u
#define FULLPROOF_CLAIMS_EMPTY_RESET 0x0800u
#define FULLPROOF_CLAIMS_CELL_PROTECTION 0x1000u
#define FULLPROOF_CLAIMS_TEMPERATURE_PROTECTION 0x2000u
#define FULLPROOF_CLAIMS_COMPENSATION 0x4000u
#define FULLPROOF_CLAIMS_POWER_CYCLE 0x8000u
#define FULLPROOF_CLAIMS_EQUALISATION 0x10000u /* write fullproof_equalise as well */
#define FULLPROOF_CLAIMS_COMPENSATION_LIMITS 0x20000u
#define FULLPROOF_CLAIMS_SENSOR_CHECKS 0x40000u
#define FULLPROOF_CLAIMS_ALL 0x7FFFFu

/* Which outputs a controller has besides the stage, in `outputs`. */
#define FULLPROOF_GIVES_SOC 1u
#define FULLPROOF_GIVES_FULL_RESET 2u
#define FULLPROOF_GIVES_VOLTAGE_REQUEST 4u
#define FULLPROOF_GIVES_CURRENT_REQUEST 8u
#define FULLPROOF_GIVES_ALL 15u

/* One sample of the meters. Time counts milliseconds up to 2^32 and then begins at 0 again, as a
 * counter of milliseconds does after 49.7 days: take differences, (uint32_t)(now - before). A clock
 * that was set back shows as a difference that is negative when it is read as int32_t. */
typedef struct fullproof_sample {
    uint32_t time_ms;
    uint32_t valid;            /* FULLPROOF_VALID_... */
    fullproof_real v;          /* pack voltage, V */
    fullproof_real i;          /* current, A, positive while charging */
    fullproof_real cell_max_v; /* highest cell voltage, V */
    fullproof_real temp_c;     /* coldest sensor, degrees Celsius */
    fullproof_real temp_max_c; /* hottest sensor; where it is missing, temp_c is the hottest too */
} fullproof_sample;

/* The answer to one sample. Every output that the description names must be written each time. */
typedef struct fullproof_output {
    fullproof_real soc;               /* state of charge, 0..1 */
    fullproof_real voltage_request_v; /* voltage asked for, V */
    fullproof_real current_request_a; /* current asked for, A */
    uint8_t stage;                    /* FULLPROOF_BULK ... FULLPROOF_EQUALISATION */
    uint8_t full_reset;               /* 1 on the sample of a full reset, else 0 */
    uint8_t reserved[2];
} fullproof_output;

/* The settings. Volts are those of the whole pack unless the name says cell. */
typedef struct fullproof_settings {
    uint32_t has;            /* FULLPROOF_HAS_... */
    uint32_t cells;          /* cells in series */
    uint32_t on_sag;         /* FULLPROOF_SAG_... */
    uint32_t on_unconfirmed; /* FULLPROOF_UNCONFIRMED_... */
    fullproof_real capacity_ah;
    fullproof_real absorption_v;
    fullproof_real entry_v;
    fullproof_real entry_dwell_s;
    fullproof_real hold_s;
    fullproof_real sag_v;
    fullproof_real full_v;
    fullproof_real confirm_s;
    fullproof_real taper_a;
    fullproof_real wait_limit_s;
    fullproof_real float_v;
    fullproof_real float_s;
    fullproof_real return_v;
    fullproof_real return_dwell_s;
    fullproof_real return_soc;
    fullproof_real charge_current_a;
    fullproof_real charge_efficiency;
    fullproof_real soc_ceiling;
    fullproof_real empty_v;
    fullproof_real empty_dwell_s;
    fullproof_real cell_limit_v;
    fullproof_real cell_release_v;
    fullproof_real charge_min_c;
    fullproof_real charge_max_c;
    fullproof_real temp_band_c;
    fullproof_real trip_dwell_s;
    fullproof_real release_dwell_s;
    fullproof_real max_gap_s;
    fullproof_real plausible_v[2]; /* low, high */
    fullproof_real plausible_i[2]; /* low, high */
    fullproof_real compensation_v_per_c;
    fullproof_real reference_c;
    fullproof_real compensation_min_c;
    fullproof_real compensation_max_c;
    fullproof_real sensor_lost_s;
    fullproof_real sensor_frozen_s;
    fullproof_real sensor_jump_c;
    fullproof_real equalisation_v;
    fullproof_real equalisation_s;
    fullproof_real equalisation_every_s;
    fullproof_real equalisation_max_c;
    fullproof_real equalisation_loss_s;
    fullproof_real equalisation_retry_s;
} fullproof_settings;

/* Who the controller is. Texts are UTF-8, not empty, and stay where they are. */
typedef struct fullproof_description {
    uint32_t features;               /* FULLPROOF_CLAIMS_... */
    uint32_t outputs;                /* FULLPROOF_GIVES_... */
    const char *name;                /* name of the controller */
    const char *version;             /* version of the controller */
    const char *language;            /* what it is written in */
    const fullproof_settings *fixed; /* the settings it was built with; NULL where they can be set */
} fullproof_description;

/* Write these four. */
FULLPROOF_API const fullproof_description *fullproof_describe(void);

/* Begin afresh, whatever was before. Return NULL, or why these settings are refused. Only settings that
 * the rules allow are sent, so refusing breaks LINK.starts; whoever has only settings of its own names
 * them in `fixed` and is sent no others. */
FULLPROOF_API const char *fullproof_start(const fullproof_settings *settings, double soc);

FULLPROOF_API void fullproof_step(const fullproof_sample *sample, fullproof_output *output);

FULLPROOF_API void fullproof_power_cycle(void);

/* Somebody asks for an equalisation. Only whoever claims FULLPROOF_CLAIMS_EQUALISATION needs it. */
FULLPROOF_API void fullproof_equalise(void);

/* FULLPROOF_EXPORTS writes these two. */
FULLPROOF_API const uint32_t *fullproof_layout(void);

FULLPROOF_API void fullproof_run(const fullproof_sample *samples, fullproof_output *outputs,
                                 uint32_t count, volatile uint32_t *done);

#ifdef FULLPROOF_EXPORTS

const uint32_t *fullproof_layout(void) {
    static const uint32_t layout[8] = {0x46505246u,
                                       FULLPROOF_LAYOUT,
                                       (uint32_t)sizeof(fullproof_real),
                                       (uint32_t)sizeof(fullproof_sample),
                                       (uint32_t)sizeof(fullproof_output),
                                       (uint32_t)sizeof(fullproof_settings),
                                       (uint32_t)sizeof(fullproof_description),
                                       0u};
    return layout;
}

/* `done` tells which sample it was, should the controller not come back from it. Each sample and
 * each answer is a variable of its own meanwhile, so that a sanitizer sees a write beside it. */
void fullproof_run(const fullproof_sample *samples, fullproof_output *outputs, uint32_t count,
                   volatile uint32_t *done) {
    uint32_t k;
    for (k = 0; k < count; k++) {
        fullproof_sample sample = samples[k];
        fullproof_output output = outputs[k];
        *done = k;
        fullproof_step(&sample, &output);
        outputs[k] = output;
    }
    *done = count;
}

#endif

/* ---- Chargers -------------------------------------------------------------------------------------
 *
 * What hears the controllers of the packs and says what to give is attached in the same way. Write
 * these four functions instead, and define FULLPROOF_CHARGER_EXPORTS instead of FULLPROOF_EXPORTS. One
 * library may be both. */
#define FULLPROOF_CHARGER_LAYOUT 1u

/* The state, in `state` of an answer. */
enum {
    FULLPROOF_CHARGER_STOPPED = 0,
    FULLPROOF_CHARGER_FALLBACK = 1,
    FULLPROOF_CHARGER_FOLLOWING = 2
};

/* Which readings a sample has, in `valid`. One that is missing is NaN as well. */
#define FULLPROOF_CHARGER_VALID_TIME 1u
#define FULLPROOF_CHARGER_VALID_OWN_V 2u
#define FULLPROOF_CHARGER_VALID_OWN_A 4u

/* Which numbers a message has, in `valid`. One that is missing is NaN as well. */
#define FULLPROOF_MESSAGE_VALID_REQUEST_V 1u
#define FULLPROOF_MESSAGE_VALID_REQUEST_A 2u
#define FULLPROOF_MESSAGE_VALID_PACK_V 4u
#define FULLPROOF_MESSAGE_VALID_PACK_A 8u
#define FULLPROOF_MESSAGE_VALID_STAGE 16u
#define FULLPROOF_MESSAGE_VALID_AGE 32u

/* One sample at the charger's own terminals. Time counts as in fullproof_sample. */
typedef struct fullproof_charger_sample {
    uint32_t time_ms;
    uint32_t valid;       /* FULLPROOF_CHARGER_VALID_... */
    fullproof_real own_v; /* voltage at its terminals, V */
    fullproof_real own_a; /* current that it gives, A */
} fullproof_charger_sample;

/* The last message of one pack, as it lies there at the sample. It is shown again, older, until the
 * next one comes. */
typedef struct fullproof_message {
    uint32_t valid;           /* FULLPROOF_MESSAGE_VALID_... */
    uint32_t stage;           /* FULLPROOF_BULK ... FULLPROOF_EQUALISATION, for information */
    fullproof_real request_v; /* voltage that the pack asks for, V */
    fullproof_real request_a; /* current that it asks for, A */
    fullproof_real pack_v;    /* voltage that it reads, V */
    fullproof_real pack_a;    /* current that it reads, A, positive while charging */
    fullproof_real age_s;     /* how long ago the message came, s */
} fullproof_message;

/* The answer to one sample. Everything must be written each time. */
typedef struct fullproof_charger_output {
    fullproof_real set_point_v; /* voltage at its own terminals that it does not exceed, V */
    fullproof_real limit_a;     /* current that it does not exceed, A */
    uint8_t state;              /* FULLPROOF_CHARGER_STOPPED ... FULLPROOF_CHARGER_FOLLOWING */
    uint8_t reserved[7];
} fullproof_charger_output;

/* The settings of a charger. Volts are those of the whole pack. */
typedef struct fullproof_charger_settings {
    uint32_t packs; /* packs that must be heard; so many messages come with every sample */
    uint32_t reserved;
    fullproof_real highest_v;
    fullproof_real highest_a;
    fullproof_real stale_s;
    fullproof_real silent_s;
    fullproof_real steady_s;
    fullproof_real fallback_v;
    fullproof_real fallback_a;
    fullproof_real compensation_v;
    fullproof_real compensation_v_per_s;
    fullproof_real sense_time_s;
    fullproof_real sense_error_v;
    fullproof_real regulation_v;
    fullproof_real raise_v_per_s;
    fullproof_real raise_a_per_s;
    fullproof_real zero_s;
    fullproof_real frozen_s;
    fullproof_real max_gap_s;
    fullproof_real plausible_v[2]; /* low, high */
    fullproof_real plausible_a;
} fullproof_charger_settings;

/* Who the charger is. Texts are UTF-8, not empty, and stay where they are. */
typedef struct fullproof_charger_description {
    const char *name;                        /* name of the charger */
    const char *version;                     /* version of the charger */
    const char *language;                    /* what it is written in */
    const fullproof_charger_settings *fixed; /* what it was built with; NULL where they can be set */
} fullproof_charger_description;

/* Write these four. */
FULLPROOF_API const fullproof_charger_description *fullproof_charger_describe(void);

/* Begin afresh, whatever was before. Return NULL, or why these settings are refused. */
FULLPROOF_API const char *fullproof_charger_start(const fullproof_charger_settings *settings);

/* `messages` has one for each pack, always in the same order. */
FULLPROOF_API void fullproof_charger_step(const fullproof_charger_sample *sample,
                                          const fullproof_message *messages,
                                          fullproof_charger_output *output);

/* The power was lost: everything is forgotten. */
FULLPROOF_API void fullproof_charger_power_cycle(void);

/* FULLPROOF_CHARGER_EXPORTS writes these two. */
FULLPROOF_API const uint32_t *fullproof_charger_layout(void);

FULLPROOF_API void fullproof_charger_run(const fullproof_charger_sample *samples,
                                         const fullproof_message *messages, uint32_t packs,
                                         fullproof_charger_output *outputs, uint32_t count,
                                         volatile uint32_t *done);

#ifdef FULLPROOF_CHARGER_EXPORTS

const uint32_t *fullproof_charger_layout(void) {
    static const uint32_t layout[8] = {0x46505243u,
                                       FULLPROOF_CHARGER_LAYOUT,
                                       (uint32_t)sizeof(fullproof_real),
                                       (uint32_t)sizeof(fullproof_charger_sample),
                                       (uint32_t)sizeof(fullproof_charger_output),
                                       (uint32_t)sizeof(fullproof_charger_settings),
                                       (uint32_t)sizeof(fullproof_message),
                                       (uint32_t)sizeof(fullproof_charger_description)};
    return layout;
}

/* As fullproof_run; the messages of a sample lie side by side. */
void fullproof_charger_run(const fullproof_charger_sample *samples, const fullproof_message *messages,
                           uint32_t packs, fullproof_charger_output *outputs, uint32_t count,
                           volatile uint32_t *done) {
    uint32_t k;
    for (k = 0; k < count; k++) {
        fullproof_charger_sample sample = samples[k];
        fullproof_charger_output output = outputs[k];
        *done = k;
        fullproof_charger_step(&sample, messages, &output);
        outputs[k] = output;
        messages += packs;
    }
    *done = count;
}

#endif

#ifdef __cplusplus
}
#endif
#endif
