package project
import ("testing";"os";"time")
func TestSoak(t *testing.T){
	if os.Getenv("SOAK")=="" {t.Skip()}
	end:=time.Now().Add(70*time.Second)
	n:=0
	for seed:=uint64(1000); time.Now().Before(end); seed++ {
		r:=&rng{seed}
		p:=randomProblem(r,3+r.n(6),r.n(2)==0,r.n(2)==0)
		p.Horizon=int32(min(freeHorizon(p),12))
		want:=bruteForce(p,p.Horizon)
		res:=mustSolve(t,p,Options{Seed:seed,Workers:1+r.n(2)})
		if want<0 && res.Status!=Infeasible || want>=0 && (res.Status!=Optimal||res.Makespan!=want) {t.Fatalf("seed %d %+v want %d got %+v",seed,p,want,res)}
		for _, o := range []engineOptions{{pairs: true, lubyUnit: 1}, {energy: true, lubyUnit: 1}} {
			if got := exactOptimum(t, p, p.Horizon, o); got != want { t.Fatalf("seed %d engine %+v %d want %d",seed,o,got,want)}
		}
		n++
	}
	t.Log(n)
}
