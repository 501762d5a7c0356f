/* What must hold if the core is right. Looked at where the core is tried on a PC; on a board there is nobody to
 * tell, and unsure means off by other ways. */
#ifndef LATCHLINE_ASSURE_H
#define LATCHLINE_ASSURE_H

#ifdef LATCHLINE_ASSURED
#include <assert.h>
#define ASSURE(condition) assert(condition)
#else
#define ASSURE(condition) ((void)0)
#endif

#endif
