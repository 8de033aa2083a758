/* The anatomy of one type of instrument, as plain data: members of wood, hardware, measures.
 * Filled by the library loader (daemon) or by tests; core only reads it. Lengths in metres. */
#ifndef CORE_BUILD_H
#define CORE_BUILD_H

#include <stddef.h>

enum { BUILD_NAME = 32, BUILD_TITLE = 80, BUILD_MEMBERS = 13, BUILD_FASTENINGS = 7 };

/* Values of one wood species (conf/species.conf; every value's source stands there). */
struct species {
	char name[BUILD_NAME];
	double specific_gravity; /* at 12 % MC */
	double c_r_per_pct; /* radial swelling, fraction per 1 % MC */
	double c_t_per_pct;
	double c_l_per_pct;
	double e_l_pa; /* moduli along the grain, radial, tangential */
	double e_r_pa;
	double e_t_pa;
};

/* A finish as vapour resistance of a face. */
struct finish {
	char name[BUILD_NAME];
	double resistance_s_m; /* 0 bare .. MOISTURE_SEALED */
};

enum member_role {
	MEMBER_TOP,
	MEMBER_BACK,
	MEMBER_NECK,
	MEMBER_FINGERBOARD,
	MEMBER_HEADSTOCK,
	MEMBER_BRIDGE,
	MEMBER_BODY, /* solid body */
	MEMBER_TOP_BRACE, /* one of the braces across the top; thickness is its height */
	MEMBER_BACK_BRACE,
	MEMBER_PIN_BLOCK, /* what holds tuning pins */
	/* Made by the model, never written in a build: the plate where something is glued on it. */
	MEMBER_UNDER_BRIDGE,
	MEMBER_UNDER_TOP_BRACE,
	MEMBER_UNDER_BACK_BRACE,
	MEMBER_ROLES
};

/* One piece of wood. Transport runs through the thickness. Width is across the grain. */
struct member {
	enum member_role role;
	struct species wood;
	double thickness_m;
	double width_m;
	double ring_deg; /* growth rings to the width: 0 quartersawn, 90 flatsawn */
	double finish_s_m[2]; /* outer face, inner face (MOISTURE_SEALED: glued) */
};

enum fastening_kind {
	FASTENING_TUNER_NUT,
	FASTENING_BUSHING,
	FASTENING_STRAP_BUTTON,
	FASTENING_SCREW,
	FASTENING_TUNING_PIN, /* driven into a pin block */
	FASTENING_PEG, /* friction peg: tapered, of wood, in a tapered hole */
	FASTENING_BRIDGE_PIN, /* tapered, in a tapered hole of bridge and top */
	FASTENING_KINDS
};

struct fastening {
	enum fastening_kind kind;
	size_t member; /* index into members */
	int count; /* how many of them on the instrument */
	char thread[16]; /* as people say it: M10x0.75 */
	double pitch_m;
	double grip_m; /* wood between the jaws */
	double snug_strain;
	double yield_strain;
	double relax_s;
	/* pegs and bridge pins, which have no thread, grip or strains */
	double diameter_m; /* at the wood */
	double taper; /* diameter over length: 1/30 of a violin peg */
	struct species wood; /* of a peg; all zero: bone, plastic, metal, which do not swell */
};

struct build {
	char name[BUILD_NAME];
	char title[BUILD_TITLE];
	double rh_low_pct, rh_high_pct; /* the band its makers and menders ask for */
	double scale_m; /* string length */
	double relief_span_m; /* over which relief is measured: fret 1 to the body joint */
	double relief_share; /* of the free bending that reaches the neck: strings and rod hold the rest */
	double top_span_m; /* braced length of top that rises under the bridge; 0: solid body */
	double top_share; /* of the free rise that remains: edges, arch and braces hold the rest */
	double brace_pitch_m; /* strip of top that one brace carries */
	double back_span_m, back_share,
		back_brace_pitch_m; /* the same of the back; 0: flat or none */
	double body_length_m, body_depth_m; /* of the box that carries the neck; 0: solid */
	double joint_m; /* nut to body joint */
	double cavity_lag_s; /* how long the air inside trails the room's; 0: no cavity */
	double sorption_ratio; /* equilibrium moisture taking up water over giving it off; 1: one curve */
	/* what is usual on such an instrument, at the 12th fret or where its trade measures; 0: not said */
	double relief_usual_m[2], action_bass_usual_m[2], action_treble_usual_m[2];
	double string_life_s; /* how long a set lasts in ordinary playing */
	size_t n_members, n_fastenings;
	struct member members[BUILD_MEMBERS];
	struct fastening fastenings[BUILD_FASTENINGS];
};

/* Swelling across the width and through the thickness at its cut, fraction per 1 % MC. */
double member_c_width_per_pct(const struct member *m);
double member_c_thickness_per_pct(const struct member *m);

/* Modulus across the width: radial or tangential, whichever the cut is nearer to. */
double member_e_width_pa(const struct member *m);

/* Index of the first member with that role, or b->n_members when there is none. */
size_t build_member(const struct build *b, enum member_role role);

#endif
