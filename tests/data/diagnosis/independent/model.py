"""A second forward model, written from the page of diagnosis and of the exercise file only."""
import math, random, json
from decimal import Decimal, ROUND_HALF_UP
FACES={'top':(2,1),'bottom':(2,-1),'left':(0,-1),'right':(0,1),'front':(1,-1),'back':(1,1)}
AX={'x':0,'y':1,'z':2}
def dot(a,b): return sum(x*y for x,y in zip(a,b))
def cross(a,b): return [a[1]*b[2]-a[2]*b[1],a[2]*b[0]-a[0]*b[2],a[0]*b[1]-a[1]*b[0]]
def mv(R,v): return [dot(r,v) for r in R]
def mm(A,B): return [[sum(A[i][k]*B[k][j] for k in range(3)) for j in range(3)] for i in range(3)]
def Rx(d): c,s=math.cos(math.radians(d)),math.sin(math.radians(d)); return [[1,0,0],[0,c,-s],[0,s,c]]
def Ry(d): c,s=math.cos(math.radians(d)),math.sin(math.radians(d)); return [[c,0,s],[0,1,0],[-s,0,c]]
def Rz(d): c,s=math.cos(math.radians(d)),math.sin(math.radians(d)); return [[c,-s,0],[s,c,0],[0,0,1]]
I3=[[1,0,0],[0,1,0],[0,0,1]]
def wrap(d):
    d=d%180.0
    return d-180 if d>90 else d

class Ex:
    """ex: dict(code, units, decimals, outline, thickness, datums={A:{face,sets,at,touches}}, mistaken=[{name,instead_of,at}],
       U, per_length, rep, tip, features=[{key,kind,...,chars:[{no,of,...}]}], between=[{key,features,chars}])"""
    def __init__(s,d):
        s.__dict__.update(d)
        s.lines=[]
        for i,f in enumerate(s.features):
            for c in f['chars']: s.lines.append((('f',i),c))
        for i,b in enumerate(s.between):
            for c in b['chars']: s.lines.append((('b',i),c))
        s.no={c['no']:i for i,(o,c) in enumerate(s.lines)}
        s.fi={f['key']:i for i,f in enumerate(s.features)}
        s.datum={}
        for l,dd in s.datums.items():
            a=AX[dd['sets']]; t=dd['touches']; n=len(t)
            m=[0,0,0]; oth=[k for k in range(3) if k!=a]
            m[oth[0]]=sum(q[0] for q in t)/n; m[oth[1]]=sum(q[1] for q in t)/n; m[a]=dd['at']
            s.datum[l]=dict(axis=a,at=dd['at'],sign=FACES[dd['face']][1],mid=m,face=dd['face'])
        s.byaxis={v['axis']:v for v in s.datum.values()}
        s.nom=[s.state0(f) for f in s.features]
        s.nominal=[s.own(o,c,s.nom) for o,c in s.lines]
        s.nominal=[0.0 if c['of'] in GEO else v for v,(o,c) in zip(s.nominal,s.lines)]
        s.nominal=[float(Decimal(repr(round(v,10)))) if abs(round(v,9)-v)<1e-12 else round(v,s.decimals) for v in s.nominal]
    def state0(s,f):
        k=f['kind']; st=dict(own={})
        if k=='line':
            a,b=f['from'],f['to']; st['at']=[(x+y)/2 for x,y in zip(a,b)]
            st['angle']=math.degrees(math.atan2(b[1]-a[1],b[0]-a[0]))%180; st['length']=math.dist(a,b)
            if 180-st['angle']<1e-9: st['angle']=0.0
        else:
            st['at']=list(f['at']); st['angle']=f.get('angle',0.0)
            if k=='plane': st['length']=max(f['size'])
            else: st['length']=f.get('length',f.get('depth',s.thickness))
            if k=='plane':
                l=[c['datum'] for c in f['chars'] if c['of']=='angle']
                if l:
                    n=s.dnorm(l[0]); st['angle']=math.degrees(math.acos(min(1,abs(dot(n,f['normal'])))))
        st['diameter']=f.get('diameter',0.0); st['width']=f.get('width',0.0)
        return st
    def dnorm(s,l):
        d=s.datum[l]; v=[0,0,0]; v[d['axis']]=d['sign']; return v
    def own(s,o,c,sts):
        of=c['of']
        if o[0]=='f':
            f=s.features[o[1]]; st=sts[o[1]]; n0=s.nom[o[1]] if hasattr(s,'nom') else st
            if of in AX: return st['at'][AX[of]]
            if of in ('diameter','length','width','angle'): return st[of]
            if of=='position': return s.pos(f,n0,st['at'])
            return st['own'].get(of,0.0)
        b=s.between[o[1]]; i,j=[s.fi[k] for k in b['features']]; A,B=sts[i],sts[j]; fa,fb=s.features[i],s.features[j]
        d=[x-y for x,y in zip(A['at'],B['at'])]
        if of=='distance':
            if 'along' in c: return abs(d[AX[c['along']]])
            if s.round(fa) and s.round(fb): return math.hypot(d[0],d[1])
            n=fb.get('normal') or fa.get('normal'); return abs(dot(d,n))
        if of=='angle':
            x=abs(A['angle']-B['angle'])%180; return min(x,180-x)
        if of=='coaxiality': return 2*math.hypot(d[0],d[1])
        return A['own'].get(of,0.0)
    def round(s,f): return f['kind'] in('circle','sphere','cylinder','slot','point')
    def pos(s,f,n0,p):
        dx,dy=p[0]-n0['at'][0],p[1]-n0['at'][1]
        if f['kind']=='slot':
            a=math.radians(n0['angle']); return 2*abs(-dx*math.sin(a)+dy*math.cos(a))
        return 2*math.hypot(dx,dy)
    def ulab(s,i):
        o,c=s.lines[i]; of=c['of']
        if 'U' in c: return c['U']
        L=0.0; n=abs(s.nominal[i])
        if of in AX or of in('diameter','length','width','distance'): L=n
        if of=='position':
            f=s.nom[o[1]]; L=max(abs(f['at'][0]),abs(f['at'][1])); return 2*(s.U+s.per_length*L)
        if of=='angle':
            f=s.nom[o[1]]; return math.degrees(s.U/f['length'])
        return s.U+s.per_length*L
GEO=('position','flatness','straightness','roundness','cylindricity','form','parallelism','perpendicularity','coaxiality')
ANG=('angle',)
def dirs(n):
    for a in range(3):
        if abs(n[a])>1-1e-9:
            o=[k for k in range(3) if k!=a]; return [[1.0 if k==o[0] else 0.0 for k in range(3)],[1.0 if k==o[1] else 0.0 for k in range(3)]]
    fl=math.hypot(n[0],n[1]); lv=[-n[1]/fl,n[0]/fl,0]; return [lv,cross(n,lv)]

class Plate:
    def __init__(s,ex,serial,planted,refs=None):
        s.ex,s.serial,s.planted,s.refs=ex,serial,planted,refs or {}
        st=[dict(x,at=list(x['at']),own=dict(x['own'])) for x in ex.nom]
        for k,q in planted.items():
            if k in ex.fi: t=st[ex.fi[k]]
            else:
                b=[b for b in ex.between if b['key']==k][0]; t=st[ex.fi[b['features'][0]]]
            for n,v in q.items():
                if n in AX: t['at'][AX[n]]+=v
                elif n in('diameter','length','width','angle'): t[n]+=v
                else: t['own'][n]=t['own'].get(n,0)+v
        for no,(v,U) in s.refs.items():
            o,c=ex.lines[ex.no[no]]
            if o[0]!='f': continue
            t=st[o[1]]; n=c['of']
            if n in AX: t['at'][AX[n]]=v
            elif n in('diameter','length','width'): t[n]=v
            elif n=='angle': t[n]+=wrap(v-t[n])
            elif n!='position': t['own'][n]=v
        s.st=st
        s.model0=evaluate(ex,st,P())
        s.base=[s.refs[c['no']][0] if c['no'] in s.refs else ex.own(o,c,st) for o,c in ex.lines]

class P:
    """A procedure: what was done."""
    def __init__(s):
        s.turn=0; s.rot=0.0; s.tx=0.0; s.ty=0.0; s.shift=[0.0]*3; s.far=[False]*3; s.mist={}
        s.tipd={}; s.tips=None; s.tipf=None; s.wrong=0.0; s.ppm=0.0
def setup(ex,faults):
    p=P()
    for f in faults:
        k,q=f['fault'],f['parameters']
        if k=='origin-shift': p.shift[AX[q['axis']]]+=q['amount']
        elif k=='mistaken-surface':
            at=[m['at'] for m in ex.mistaken if m['instead_of']==q['datum'] and m['name']==q['name']][0]
            d=ex.datum[q['datum']]; p.shift[d['axis']]-=at-d['at']
        elif k=='opposite-corner': p.far[AX[q['axis']]]=True
        elif k=='frame-rotated': p.rot+=q['angle_deg']
        elif k=='frame-tilted':
            if q['about']=='x': p.tx+=q['angle_deg']
            else: p.ty+=q['angle_deg']
        elif k=='part-turned': p.turn=q['angle_deg']
        elif k=='tip-ignored-on-datum': p.tipd[q['datum']]=True
        elif k=='tip-ignored-on-size': p.tips=True
        elif k=='tip-ignored-on-surface': p.tipf=True
        elif k=='tip-wrong': p.wrong+=q['amount']
        elif k=='temperature': p.ppm+=q['ppm']
    return p
def evaluate(ex,st,p):
    r=ex.tip/2
    # placing
    off=[0,0,0]; T=I3; outl=[(x,y) for x,y in ex.outline]
    if p.turn:
        T=[[round(v) for v in row] for row in Rz(p.turn)]
        o2=[mv(T,[x,y,0])[:2] for x,y in outl]
        off=[ex.byaxis[0]['at']-min(q[0] for q in o2), ex.byaxis[1]['at']-min(q[1] for q in o2),0]
        outl=[(q[0]+off[0],q[1]+off[1]) for q in o2]
    R=mm(Ry(-p.ty),mm(Rx(-p.tx),Rz(-p.rot)))
    tilted=p.rot or p.tx or p.ty
    t=[0,0,0]
    if tilted:
        for k in range(3):
            d=ex.byaxis[k]; t[k]=d['at']-mv(R,d['mid'])[k]
    else: R=I3
    sh=list(p.shift)
    e=p.wrong
    for l,d in ex.datum.items():
        a=d['axis']; n=d['sign']
        if p.far[a]:
            side=max(q[a] for q in outl) if n<0 else min(q[a] for q in outl)
            sh[a]-=side-d['at']; n=-n
        if p.tipd.get(l): sh[a]-=r*n
        else: sh[a]+=n*e/2
    sc=1+p.ppm*1e-6
    pl=[]
    for f,s in zip(ex.features,st):
        q=mv(T,s['at']); q=[a+b for a,b in zip(q,off)]
        q=mv(R,q); q=[a+b+c for a,b,c in zip(q,t,sh)]
        if f['kind'] in('point','line','plane'):
            m=mv(R,mv(T,f['normal']))
            q=[a+(r*b if p.tipf else -b*e/2) for a,b in zip(q,m)]
        pl.append([v*sc for v in q])
    out=[]
    es = -ex.tip if p.tips else e
    ef = -ex.tip if (p.tips or p.tipf) else e
    for o,c in ex.lines:
        of=c['of']
        if o[0]=='f':
            i=o[1]; f=ex.features[i]; s=st[i]; n0=ex.nom[i]
            if of in AX: v=pl[i][AX[of]]
            elif of in('diameter','length','width'):
                side=f.get('side','outside' if f['kind']=='sphere' else 'inside')
                v=(s[of]+(es if side=='inside' else -es))*sc
            elif of=='angle':
                if f['kind'] in('line','slot'):
                    a=math.radians(s['angle']); d=mv(R,mv(T,[math.cos(a),math.sin(a),0])); v=math.degrees(math.atan2(d[1],d[0]))
                elif f['kind']=='plane':
                    n=ex.dnorm(c['datum']); 
                    def ang(R_):
                        x=mv(R_,mv(T,f['normal'])); y=mv(T,n); cc=cross(x,y); return math.degrees(math.atan2(math.sqrt(dot(cc,cc)),dot(x,y)))
                    a0,a1=ang(I3),ang(R); ch=a1-a0; v=s['angle']+(-ch if a0>90+1e-9 else ch)
                else: v=s['angle']
            elif of=='position': v=ex.pos(f,n0,pl[i])
            elif of in('parallelism','perpendicularity') and f['kind'] in('plane','cylinder') and c.get('datum'):
                v=s['own'].get(of,0.0)
                if tilted:
                    n=mv(T,ex.dnorm(c['datum'])); tn=lambda x: mv(R,mv(T,x))
                    if f['kind']=='cylinder':
                        cc=cross(tn(f.get('axis',[0,0,1])),n); v+=n0['length']*math.sqrt(dot(cc,cc))
                    else:
                        m=tn(f['normal'])
                        if abs(dot(mv(T,f['normal']),n))>.5: ac=n
                        else:
                            l=dot(m,n); ac=[a-l*b for a,b in zip(m,n)]; g=math.sqrt(dot(ac,ac)); ac=[a/g for a in ac]
                        v+=sum(z*abs(dot(tn(d),ac)) for d,z in zip(dirs(f['normal']),f['size']))
                v*=sc
            else: v=s['own'].get(of,0.0)*sc
        else:
            b=ex.between[o[1]]; i,j=[ex.fi[k] for k in b['features']]; fa,fb=ex.features[i],ex.features[j]
            d=[x-y for x,y in zip(pl[i],pl[j])]
            if of=='distance':
                if 'along' in c: v=abs(d[AX[c['along']]])
                elif ex.round(fa) and ex.round(fb): v=math.hypot(d[0],d[1])
                else:
                    al=dot(fa['normal'],fb['normal']); v0=ex.own(o,c,st)
                    if al>0: sg=0
                    else:
                        dd=[x-y for x,y in zip(ex.nom[i]['at'],ex.nom[j]['at'])]; sg=-1 if dot(dd,fa['normal'])>0 else 1
                    v=(v0+sg*ef)*sc
            elif of=='angle': v=ex.own(o,c,st)
            elif of=='coaxiality': v=2*math.hypot(d[0],d[1])
            else: v=ex.own(o,c,st)*sc
        out.append(v)
    evaluate.places=pl
    return out

def measured(ex,plate,faults,plates):
    """Values as measured (before unit and writing), without noise; and the crossed coordinates."""
    for f in faults:
        if f['fault']=='wrong-plate': plate=[q for q in plates if q.serial==f['parameters']['serial']][0]
    m=evaluate(ex,plate.st,setup(ex,faults)); pl=[list(q) for q in evaluate.places]
    out=[]
    for (o,c),v,v0,b in zip(ex.lines,m,plate.model0,plate.base):
        ch=v-v0
        if c['of']=='angle' and o[0]=='f' and ex.features[o[1]]['kind'] in('line','slot'): ch=wrap(ch)
        w=b+ch
        if c['of'] in GEO: w=max(w,0.0)
        out.append(w)
    cr=[None]*len(out)
    for i,(o,c) in enumerate(ex.lines):
        if o[0]=='f' and c['of'] in('x','y'): cr[i]=pl[o[1]][1-AX[c['of']]]
    return out,cr
def rounded(v,dec): return str(Decimal(repr(v)).quantize(Decimal(1).scaleb(-dec),rounding=ROUND_HALF_UP)) if abs(v)<1e15 else repr(v)
def written(ex,vals,cr,faults):
    v=list(vals); cr=list(cr)
    g=lambda k:[f['parameters'] for f in faults if f['fault']==k]
    for q in g('wrong-unit'):
        for i,(o,c) in enumerate(ex.lines):
            if c['of']!='angle': v[i]*=q['factor']
            if cr[i] is not None: cr[i]*=q['factor']
    for q in g('radius-for-diameter'):
        for n in q['items']: v[ex.no[n]]/=2
    for q in g('deviation-for-value'):
        for n in q['items']:
            i=ex.no[n]; v[i]-=ex.nominal[i]
            if cr[i] is not None: cr[i]-=ex.nom[ex.lines[i][0][1]]['at'][1-AX[ex.lines[i][1]['of']]]
    for q in g('features-exchanged'):
        a,b=ex.fi[q['a']],ex.fi[q['b']]; used=set()
        for i,(o,c) in enumerate(ex.lines):
            if o==('f',a):
                for j,(o2,c2) in enumerate(ex.lines):
                    if o2==('f',b) and c2['of']==c['of'] and c2.get('datum')==c.get('datum') and j not in used:
                        v[i],v[j]=v[j],v[i]; cr[i],cr[j]=cr[j],cr[i]; used.add(j); break
    for q in g('nominals-copied'):
        for n in q['items']:
            i=ex.no[n]; v[i]=ex.nominal[i]
            if cr[i] is not None: cr[i]=ex.nom[ex.lines[i][0][1]]['at'][1-AX[ex.lines[i][1]['of']]]
    for q in g('axis-reversed'):
        for i,(o,c) in enumerate(ex.lines):
            if c['of']==q['axis']: v[i]=-v[i]
            if cr[i] is not None and q['axis']!='z' and c['of']!=q['axis']: cr[i]=-cr[i]
    for q in g('axes-exchanged'):
        w=list(v)
        for i,(o,c) in enumerate(ex.lines):
            if c['of'] in('x','y'):
                other=[j for j,(o2,c2) in enumerate(ex.lines) if o2==o and c2['of']==('y' if c['of']=='x' else 'x')]
                w[i]=v[other[0]] if other else cr[i]
        v=w
    for q in g('gross-error'): v[ex.no[q['item']]]+=q['amount']
    return v
def slips(ex,texts,faults):
    t=list(texts)
    for f in faults:
        k,q=f['fault'],f['parameters']
        if k=='digits-transposed':
            i=ex.no[q['item']]; s=list(t[i]); a=q['_i']; s[a],s[a+1]=s[a+1],s[a]; t[i]=''.join(s)
        elif k=='decimal-slipped':
            i=ex.no[q['item']]; t[i]=format(Decimal(t[i]).scaleb(q['power']),'f')
        elif k=='sign-dropped':
            i=ex.no[q['item']]; t[i]=t[i][1:] if t[i].startswith('-') else '-'+t[i]
    return t
def frame_loads(ex,plate):
    """Loads of each touch's error (one standard deviation) on each characteristic, by numeric derivative of the frame."""
    out=[]
    h=1e-4
    base=lambda rot,tx,ty,sh: (lambda p: evaluate(ex,plate.st,p))(pp(rot,tx,ty,sh))
    def pp(rot,tx,ty,sh):
        p=P(); p.rot,p.tx,p.ty,p.shift=rot,tx,ty,sh; return p
    def slope(k):
        a=[0,0,0]; s=[0,0,0]
        def at(x):
            q=[0.0]*6; q[k]=x; return base(q[0],q[1],q[2],q[3:])
        u,w=at(h),at(-h); r=[]
        for (o,c),x,y in zip(ex.lines,u,w):
            d=x-y
            if c['of']=='angle' and o[0]=='f' and ex.features[o[1]]['kind'] in('line','slot'): d=wrap(d)
            r.append(d/(2*h))
        return r
    S=[slope(k) for k in range(6)]
    for l in sorted(ex.datums):
        d=ex.datums[l]; a=AX[d['sets']]; t=d['touches']; n=len(t)
        oth=[k for k in range(3) if k!=a]
        mx=sum(q[0] for q in t)/n; my=sum(q[1] for q in t)/n
        for q in t:
            w=[0.0]*6; w[3+a]=-1/n
            if n>=3:   # plane z = m + a x + b y
                xx=sum((u[0]-mx)**2 for u in t); yy=sum((u[1]-my)**2 for u in t); xy=sum((u[0]-mx)*(u[1]-my) for u in t); D=xx*yy-xy*xy
                sa=(yy*(q[0]-mx)-xy*(q[1]-my))/D; sb=(xx*(q[1]-my)-xy*(q[0]-mx))/D
                w[1]=math.degrees(sb); w[2]=-math.degrees(sa)
            elif n==2:
                sp=sum((u[0]-mx)**2 for u in t); s=(q[0]-mx)/sp
                w[0]=math.degrees(-s if a==0 else s)
            out.append([ex.rep*sum(S[k][i]*w[k] for k in range(6)) for i in range(len(ex.lines))])
    return out
def t4(rng): 
    z=rng.gauss(0,1); c=sum(rng.gauss(0,1)**2 for _ in range(4)); return z/math.sqrt(c/4)/math.sqrt(2)
def report(ex,plate,faults,plates,rng,frame=1.0,alln=1.0,heavy=False):
    """Texts of a report and the same pair's texts without slips."""
    src=plate
    for f in faults:
        if f['fault']=='wrong-plate': src=[q for q in plates if q.serial==f['parameters']['serial']][0]
    if not hasattr(src,'loads'): src.loads=frame_loads(ex,src)
    dr=(lambda: t4(rng)) if heavy else (lambda: rng.gauss(0,1))
    m,cr=measured(ex,plate,faults,plates); n=len(m)
    sh=[0.0]*n; var=[0.0]*n
    for ld in src.loads:
        z=dr()*frame*alln
        for i in range(n): sh[i]+=z*ld[i]; var[i]+=ld[i]**2
    for i,(o,c) in enumerate(ex.lines):
        own=math.sqrt(max(0,(ex.ulab(i)/2)**2-var[i]))*dr()*alln
        ref=src.refs[c['no']][1]/2*rng.gauss(0,1) if c['no'] in src.refs else 0.0
        e=sh[i]+own+ref
        m[i]+=e
        if c['of'] in GEO: m[i]=max(0.0,m[i])
        if cr[i] is not None: cr[i]+=e
    v=written(ex,m,cr,faults)
    return [rounded(x,ex.decimals) for x in v]
